"""An MQTT broker between machines and services: its address, its topics, a connection to it. Both sides use it."""
