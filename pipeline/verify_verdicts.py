def compare(*a): pass
