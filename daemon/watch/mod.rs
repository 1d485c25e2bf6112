//! What is true of a cat: one file per rule, all of them asked at each turn.
