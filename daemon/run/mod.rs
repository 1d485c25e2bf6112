//! The live driver: doors, clock, record and carriers around the turn.
