"""What falls due: rules adopted from codes, counters, events, deferrals, and the list of it all."""
