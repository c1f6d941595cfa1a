"""What is to come: the 90 days of each plan, and what a change would do. Nothing here is stored."""
