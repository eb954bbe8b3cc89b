"""A fleet on one computer, for a look and for a round by itself: real servers of Debian in a folder of their own."""
