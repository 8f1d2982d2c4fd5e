"""What an audit asks of each family of markings, where it would not fit into the rule itself."""
