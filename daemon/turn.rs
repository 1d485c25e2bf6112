//! One turn of the house: the one place where the pure rooms meet.
