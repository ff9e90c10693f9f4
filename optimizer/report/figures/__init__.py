"""What the pictures of a report show, as data: drawn as static SVG, and by the page's scripts as well."""
