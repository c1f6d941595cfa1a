"""What was done: records of work of every sort, second looks, repairs, return tests, labels."""
