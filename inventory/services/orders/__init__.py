"""What is bought on which terms, and the life of an order: written, sent, come in, called off."""
