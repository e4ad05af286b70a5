"""Back from the lab: receive, match, inspect, tag."""
