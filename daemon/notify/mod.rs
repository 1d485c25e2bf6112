//! Carries messages over ntfy and email, and decides nothing.
