"""The pages of what this shop and others have to do with each other."""
