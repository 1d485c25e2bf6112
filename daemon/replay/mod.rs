//! The driver for recorded histories: simulated time through the same turn.
