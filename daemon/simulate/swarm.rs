//! Which faults one world has, and how strong each is. Drawn from the seed: some worlds have none of a kind, so
//! that one fault cannot hide what another one does.

use super::cat::dice::Dice;

/// The faults of one world. `None`: this world does not have it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Swarm {
    /// Mean lateness of a batch, minutes.
    pub(super) late: Option<f64>,
    /// Chance that something arrives twice.
    pub(super) twice: Option<f64>,
    /// Chance that a batch never arrives.
    pub(super) missing: Option<f64>,
    /// Chance that a batch is held back behind the next ones.
    pub(super) shuffled: Option<f64>,
    /// Chance that a batch is dated ahead.
    pub(super) future: Option<f64>,
    /// Outages of the doors a day; what comes meanwhile is delivered at their end.
    pub(super) away: Option<f64>,
    /// Wrong settings of the clock a day.
    pub(super) clock: Option<f64>,
    /// Power cuts a day, on a board without a clock of its own.
    pub(super) power: Option<f64>,
    /// Chance that a carrier refuses.
    pub(super) refuse: Option<f64>,
    /// Chance that a carrier stalls past its deadline.
    pub(super) stall: Option<f64>,
    /// Chance that a message arrives but the answer of the server is lost.
    pub(super) lose_answer: Option<f64>,
    /// Outages of a channel a day, each up to a day long.
    pub(super) down: Option<f64>,
    /// Chance that a person never answers a message.
    pub(super) unanswered: f64,
    /// Mean time until an answer, minutes.
    pub(super) answer_minutes: f64,
    /// Chance that an answer comes twice.
    pub(super) answered_twice: Option<f64>,
    /// Crashes a day.
    pub(super) restart: Option<f64>,
    /// Chance, for each event, of a crash just before or just after it is committed.
    pub(super) crash: Option<f64>,
    /// Changes of the settings a day.
    pub(super) settings: Option<f64>,
    /// Bridges that go off line, a day.
    pub(super) bridge: Option<f64>,
    /// Meter checks a day.
    pub(super) meter: Option<f64>,
    /// Falls to a low a day, on top of the cat's own. Not a fault, but what the faults must not hide.
    pub(super) plunges: Option<f64>,
}

impl Swarm {
    /// Draws the faults.
    pub(super) fn draw(dice: &mut Dice) -> Self {
        let mut maybe = |low: f64, high: f64| {
            let (there, size) = (dice.chance(0.5), dice.between(low, high));
            there.then_some(size)
        };
        Self {
            late: maybe(1.0, 90.0),
            twice: maybe(0.02, 0.4),
            missing: maybe(0.01, 0.15),
            shuffled: maybe(0.02, 0.3),
            future: maybe(0.01, 0.1),
            away: maybe(0.2, 2.0),
            clock: maybe(0.2, 3.0),
            power: None,
            refuse: maybe(0.02, 0.3),
            stall: maybe(0.05, 0.5),
            lose_answer: maybe(0.05, 0.5),
            down: maybe(0.1, 1.0),
            unanswered: maybe(0.2, 1.0).unwrap_or(0.05),
            answer_minutes: maybe(20.0, 120.0).unwrap_or(4.0),
            answered_twice: maybe(0.05, 0.5),
            restart: maybe(0.3, 4.0),
            crash: maybe(0.002, 0.03),
            settings: maybe(0.1, 1.0),
            bridge: maybe(0.3, 3.0),
            meter: maybe(0.3, 3.0),
            plunges: None,
        }
    }

    /// The same with lows in three worlds of four. They have dice of their own, so that a world without them is the world
    /// that its seed has always been.
    pub(super) fn with_lows(mut self, dice: &mut Dice) -> Self {
        let (there, a_day) = (dice.chance(0.75), dice.between(0.5, 4.0));
        self.plunges = there.then_some(a_day);
        self
    }

    /// The same on a board without a clock of its own, in one world of four, with dice of its own.
    pub(super) fn with_power_cuts(mut self, dice: &mut Dice) -> Self {
        let (there, a_day) = (dice.chance(0.25), dice.between(0.5, 3.0));
        self.power = there.then_some(a_day);
        self
    }

    /// Names of the faults that this world has.
    pub(super) fn names(&self) -> Vec<&'static str> {
        let all = [
            ("late", self.late),
            ("twice", self.twice),
            ("missing", self.missing),
            ("shuffled", self.shuffled),
            ("future-dated", self.future),
            ("doors-away", self.away),
            ("clock-steps", self.clock),
            ("board-without-clock", self.power),
            ("refused", self.refuse),
            ("stalled", self.stall),
            ("answer-of-server-lost", self.lose_answer),
            ("channel-down", self.down),
            ("answered-twice", self.answered_twice),
            ("restart", self.restart),
            ("crash-at-commit", self.crash),
            ("settings-change", self.settings),
            ("bridge-off", self.bridge),
            ("meter", self.meter),
            ("lows", self.plunges),
        ];
        all.into_iter().filter(|(_, size)| size.is_some()).map(|(name, _)| name).collect()
    }
}
