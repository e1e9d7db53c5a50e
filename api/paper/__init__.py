"""Documents on paper: words, numbers, pictures, and the templates that set them."""
