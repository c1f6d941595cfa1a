"""Papers: one page of ours becomes one PDF, tagged, with nothing fetched from elsewhere."""
