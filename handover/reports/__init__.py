"""A day, a week and a batch as a report that can be kept: one content, as a page of HTML or as PDF."""
