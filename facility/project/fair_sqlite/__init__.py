"""Django's SQLite with a fairer wait for the one writer's lock."""
