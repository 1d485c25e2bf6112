//! What is typed: arguments in, text and exit code out.
