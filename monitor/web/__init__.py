"""The HTTP server beside the service: readings in, health and metrics out."""
