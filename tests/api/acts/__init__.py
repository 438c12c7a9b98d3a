"""Acts of the doors by area, each with what it answers to every role: held against REST and GraphQL alike."""
