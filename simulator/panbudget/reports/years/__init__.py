"""All usable years of a garden side by side: figure and page."""
