"""The report and the smaller papers: what they say, rendered in volumes and sealed."""
