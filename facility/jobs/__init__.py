"""Work done by itself: rows in the database, the tasks they name, and the runner."""
