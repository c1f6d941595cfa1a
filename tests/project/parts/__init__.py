"""The pages of each part for the walk through every address: what they ask for, and existing things to open."""
