"""The whole job in one go on an invented house, with a report."""
