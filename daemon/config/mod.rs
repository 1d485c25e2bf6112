//! One TOML file becomes checked settings, or errors that name file, line and key.
