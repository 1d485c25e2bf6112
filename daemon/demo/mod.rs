//! An invented household, hours in seconds, in the terminal.
