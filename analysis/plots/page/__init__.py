"""Charts for a page: SVG text, whose colours and fonts the page's style gives."""
