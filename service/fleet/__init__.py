"""Several services and one broker: who keeps which job, its readings in, its readouts out, questions to one another."""
