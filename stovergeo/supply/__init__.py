"""The supply room: ways over the ground, what they cost, and the joint choice."""
