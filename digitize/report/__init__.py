"""Numbers to people: pictures and pages laid out from result.json, nothing computed on the way."""
