"""Documents: rows to Markdown to one tree; the tree to HTML and PDF; drawings to SVG."""
