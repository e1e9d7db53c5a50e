"""The manners of the API: one module a convention, each a decorator that also documents itself."""
