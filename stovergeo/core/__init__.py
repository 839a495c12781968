"""What every package builds on: messages, units and how they are printed."""
