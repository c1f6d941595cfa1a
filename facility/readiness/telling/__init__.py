"""What the record tells of people and of the facility to those outside: practice, fitness on a day, availability."""
