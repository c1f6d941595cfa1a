"""Plan and budget, and the page of one item with its history and its trail."""
