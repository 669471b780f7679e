"""Models of the rules: what a rules file may say. Read through `pipeline.rules`."""
