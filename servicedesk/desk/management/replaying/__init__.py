"""A recorded fleet played through the product's own doors in the order in which it became known; what the watch says of it is written down."""
