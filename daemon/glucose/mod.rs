//! Arithmetic on one cat's series: where blood is, where it is going, and how sure that is.
