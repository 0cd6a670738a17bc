"""One file a question; each opens with its generative story and ends with what it does not know."""
