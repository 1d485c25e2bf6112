//! Memory: the journal is the truth, the store is derived from it.
