"""The invented demo season. Every name, school, take and mark in it is made up."""
