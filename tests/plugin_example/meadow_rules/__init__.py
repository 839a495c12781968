"""One retention rule and one site criterion, as another package adds them."""
