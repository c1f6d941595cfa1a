"""Hand-over from one shift to the next: prepared from the record, ended by the one who receives it."""
