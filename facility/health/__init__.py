"""Is this box alive, is it fit to be asked, and numbers for a monitor. No name of a person, none of a patient."""
