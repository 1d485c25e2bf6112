//! Who must hear what, when, how often, through which channel.
