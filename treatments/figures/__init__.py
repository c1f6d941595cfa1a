"""What a run computes from its log, and its picture."""
