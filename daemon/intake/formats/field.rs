//! The columns and fields that a row can have, by the names they go by in every format.

macro_rules! fields {
    ($($(#[$doc:meta])* $variant:ident = $word:literal,)*) => {
        /// What a column or field holds.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub(super) enum Field {
            $($(#[$doc])* $variant,)*
        }

        impl Field {
            const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Its name.
            pub(super) const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }
    };
}

fields! {
    /// When a reading or meter check was measured.
    MeasuredAt = "measured_at",
    /// A glucose value, `LO` or `HI`.
    Glucose = "glucose",
    /// Unit of the value.
    Unit = "unit",
    /// Whose.
    Cat = "cat",
    /// When it reached whoever recorded it.
    ReceivedAt = "received_at",
    /// The sensor's own name.
    Sensor = "sensor",
    /// `history` or `spot`.
    Kind = "kind",
    /// Kind of hand meter; makes the value a meter check.
    Meter = "meter",
    /// When a dose was given.
    GivenAt = "given_at",
    /// Insulin units.
    Units = "units",
    /// Who gave or wrote it.
    By = "by",
    /// When something happened.
    At = "at",
    /// What happened to a sensor.
    Event = "event",
    /// How many spares there are.
    Count = "count",
    /// A note.
    Text = "text",
    /// Day, where the time stands in a column of its own (layouts only).
    Date = "date",
    /// Time of day (layouts only).
    Time = "time",
}

impl Field {
    /// How many there are.
    pub(super) const COUNT: usize = Self::ALL.len();

    /// The field of that name.
    pub(super) fn parse(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|field| field.word() == text)
    }

    /// Every name there is.
    pub(super) fn all_names() -> Vec<&'static str> {
        Self::ALL.iter().map(|field| field.word()).collect()
    }

    /// The field that a column of our own tables holds: case, blanks and hyphens in its name do not matter.
    pub(super) fn of_column(name: &str) -> Option<Self> {
        let name = name.trim().to_lowercase().replace([' ', '-'], "_");
        Self::parse(&name).filter(|field| !matches!(field, Self::Date | Self::Time))
    }
}
