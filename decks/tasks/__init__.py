"""Cards, and what every ask needs to ask one."""
