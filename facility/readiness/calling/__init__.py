"""Pages of waivers and call-outs; they stand here because they show what readiness says."""
