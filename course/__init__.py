"""What is to be built, by whom, and from what."""
