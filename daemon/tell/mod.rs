//! The words a person reads, in that person's language, units and time zone.
