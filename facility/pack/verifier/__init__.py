"""The program that goes along in each pack, and its page."""
