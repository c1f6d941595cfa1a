"""Start and end of a run. These pages stand on the readiness floor because they show its answer."""
