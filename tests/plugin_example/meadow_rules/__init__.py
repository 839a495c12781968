"""One retention rule and one site criterion, as a stranger would add them."""
