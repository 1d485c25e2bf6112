//! Invented cats: blood glucose by the minute, the sensor on the skin, the household around it; from a seed.
//!
//! Comes in: a seed, [`Options`]. Goes out: one [`Minute`] after another ([`Cat`]), or a whole [`Trace`]
//! ([`simulate`]). Families that share no equation ([`Family`]): what is learned on some of them is judged by
//! the others, on which nothing is ever fitted. No clock, no files. It is a stand-in for cats, not a model of any: no
//! cat was measured for it, and nothing here may be used to think about doses.

mod curve;
mod depot;
pub(super) mod dice;
mod echo;
mod enzyme;
mod mishap;
mod owner;
mod regime;
mod sensor;
mod swing;
mod trace;

pub use trace::{Scan, Trace, simulate};

use curve::Curve;
use depot::Depot;
use dice::Dice;
use echo::Echo;
use mishap::Mishap;
use owner::{Day, Owner};
use regime::Regime;
use sensor::Sensor;
use swing::Swing;

use crate::words::{Moment, Reading, ReadingKind, SensorEvent, minutes};

/// Which of the simulators a cat comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Family {
    /// A body: insulin depot, food, liver, defence against lows.
    #[default]
    Depot,
    /// Curves only: random shapes, wandering, sudden falls; a sensor with other errors.
    Curve,
    /// Stretches: it rests, falls, stays down, rises; another sensor again. Judges, and is never fitted on.
    Regime,
    /// Swings: oscillators kept going by chance and a pulse for each dose; a sensor whose noise is another each wear.
    Swing,
    /// A loop that answers late; a sensor whose errors hang on level, rate and age. Judges, and is never fitted on.
    Echo,
}

impl Family {
    /// Those that the table of learned numbers is made from.
    pub const LEARNED: [Self; 3] = [Self::Depot, Self::Curve, Self::Swing];
    /// Those that judge it; nothing is ever fitted on them.
    pub const JUDGES: [Self; 2] = [Self::Regime, Self::Echo];
    /// All.
    pub const ALL: [Self; 5] = [Self::Depot, Self::Curve, Self::Swing, Self::Regime, Self::Echo];
}

/// What kind of diabetic cat it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Temper {
    /// Rests near 80 to 120 mg/dL, often close to the limit.
    Tight,
    /// Comes down from above 200 to near 100 in each cycle.
    Typical,
    /// Steep and different every day.
    Brittle,
    /// Stays high; seldom low.
    High,
}

/// How the world around the cat is set up.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Which simulator.
    pub family: Family,
    /// Whose sensor it wears; that of its own family if `None`.
    pub sensor: Option<Family>,
    /// Kind of cat; drawn from the seed if `None`.
    pub temper: Option<Temper>,
    /// Midnight, where the cat lives, of the first day.
    pub start: Moment,
    /// Time constant of interstitial fluid behind blood in minutes; drawn (5 to 20) for each wear if `None`.
    pub lag_minutes: Option<f64>,
    /// Factor on the sensor's noise.
    pub noise: f64,
    /// Factor on what the sensor is off by for hours or for the whole wear: gain, drift, offset. Not of the fifth
    /// family's sensor, which has errors of its own.
    pub off: f64,
    /// Share of samples that are lost, beside the drop-outs that every sensor has.
    pub missing: f64,
    /// Whether doses are written down at all.
    pub doses_recorded: bool,
    /// The day, from 0, on which the cat goes low whatever it did before: a dose given twice, a meal not eaten.
    pub mishap_day: Option<u32>,
}

/// [`Options::off`] with which about as many readings lie within 15 % of a hand meter, over all families whose sensor heeds
/// it, as did in 41 cats: 53 % (Knies et al., J Feline Med Surg 2022, from the abstract).
pub const PUBLISHED_OFF: f64 = 2.3;

impl Default for Options {
    fn default() -> Self {
        Self {
            family: Family::Depot,
            sensor: None,
            temper: None,
            start: Moment::from_millis(FIRST_MIDNIGHT_MILLIS),
            lag_minutes: None,
            noise: 1.0,
            off: 1.0,
            missing: 0.0,
            doses_recorded: true,
            mishap_day: None,
        }
    }
}

/// Everything that happened within one minute.
#[derive(Clone, Debug, PartialEq)]
pub struct Minute {
    /// The minute.
    pub at: Moment,
    /// True blood glucose, mg/dL: nobody in the house knows it.
    pub blood: f64,
    /// Whether a sensor is on and past its warm-up.
    pub sensor_works: bool,
    /// The sample that the sensor stored (or sent).
    pub reading: Option<Reading>,
    /// Whether a dose was given and written down.
    pub dose: bool,
    /// What happened to the sensor.
    pub sensor: Option<SensorEvent>,
    /// Whether somebody of the household scans now (of scanned sensors).
    pub scan: bool,
}

#[derive(Clone, Debug)]
enum Body {
    Depot(Box<Depot>),
    Curve(Box<Curve>),
    Regime(Box<Regime>),
    Swing(Box<Swing>),
    Echo(Box<Echo>),
}

/// One invented cat, its sensor and its household, minute by minute.
///
/// ```
/// use lowtide::simulate::cat::{Cat, Options};
/// let (mut one, mut two) = (Cat::new(7, &Options::default()), Cat::new(7, &Options::default()));
/// for _ in 0..2000 {
///     assert_eq!(one.minute(), two.minute());
/// }
/// ```
#[derive(Clone, Debug)]
pub struct Cat {
    body: Body,
    sensor: Sensor,
    owner: Owner,
    today: Day,
    temper: Temper,
    start: Moment,
    doses_recorded: bool,
    mishap: Option<Mishap>,
    minute: i64,
}

impl Cat {
    /// The cat with this seed. Its blood is the same whatever the sensor's options are.
    #[must_use]
    pub fn new(seed: u64, options: &Options) -> Self {
        let temper = options.temper.unwrap_or_else(|| drawn_temper(seed));
        let body = match options.family {
            Family::Depot => Body::Depot(Box::new(Depot::new(seed, temper))),
            Family::Curve => Body::Curve(Box::new(Curve::new(seed, temper))),
            Family::Regime => Body::Regime(Box::new(Regime::new(seed, temper))),
            Family::Swing => Body::Swing(Box::new(Swing::new(seed, temper))),
            Family::Echo => Body::Echo(Box::new(Echo::new(seed, temper))),
        };
        let mut cat = Self {
            body,
            sensor: Sensor::new(seed, options, 150.0),
            owner: Owner::new(seed),
            today: Day::default(),
            temper,
            start: options.start,
            doses_recorded: options.doses_recorded,
            mishap: options.mishap_day.map(|day| Mishap::new(seed, day)),
            minute: -RUN_IN_DAYS * 1440,
        };
        while cat.minute < 0 {
            cat.minute();
        }
        cat
    }

    /// What kind of cat it is.
    #[must_use]
    pub const fn temper(&self) -> Temper {
        self.temper
    }

    /// Lives through the next minute.
    pub fn minute(&mut self) -> Minute {
        let of_day = self.minute.rem_euclid(1440);
        if of_day == 0 {
            self.today = self.owner.day();
        }
        let dose = self.today.doses.iter().find(|(at, _)| *at == of_day).copied();
        let meals = self.today.meals.iter().filter(|at| **at == of_day).count();
        let mut blood = self.live(dose.is_some(), meals);
        if let Some(mishap) = &mut self.mishap {
            blood = mishap.minute(self.minute, blood);
        }
        let sensor = self.sensor.minute(self.minute, blood);
        let at = self.start + minutes(self.minute as f64);
        let reading = self.sensor.sample(self.minute).map(|value| Reading {
            measured_at: at,
            value,
            kind: ReadingKind::History,
        });
        let lived = Minute {
            at,
            blood,
            sensor_works: self.sensor.works(self.minute),
            reading,
            dose: self.doses_recorded && dose.is_some_and(|(_, noted)| noted),
            sensor,
            scan: self.today.scans.contains(&of_day),
        };
        self.minute += 1;
        lived
    }

    /// The spot value of a scan in the minute lived through last; `None` if the sensor gives none.
    pub fn spot(&mut self) -> Option<Reading> {
        let minute = self.minute - 1;
        let value = self.sensor.spot(minute)?;
        Some(Reading { measured_at: self.start + minutes(minute as f64), value, kind: ReadingKind::Spot })
    }

    fn live(&mut self, dose: bool, meals: usize) -> f64 {
        match &mut self.body {
            Body::Depot(body) => {
                if dose {
                    body.dose();
                }
                for _ in 0..meals {
                    body.meal();
                }
                body.minute()
            }
            Body::Curve(curve) => {
                if dose {
                    curve.dose();
                }
                curve.minute()
            }
            Body::Regime(regime) => {
                if dose {
                    regime.dose();
                }
                regime.minute()
            }
            Body::Swing(swing) => {
                if dose {
                    swing.dose();
                }
                swing.minute()
            }
            Body::Echo(echo) => {
                if dose {
                    echo.dose();
                }
                for _ in 0..meals {
                    echo.meal();
                }
                echo.minute()
            }
        }
    }
}

fn drawn_temper(seed: u64) -> Temper {
    match Dice::new(seed, 0).between(0.0, 1.0) {
        x if x < 0.27 => Temper::Tight,
        x if x < 0.62 => Temper::Typical,
        x if x < 0.84 => Temper::Brittle,
        _ => Temper::High,
    }
}

/// Days lived before the first minute, so that no trace begins with an empty depot.
const RUN_IN_DAYS: i64 = 2;
/// 2026-03-02T00:00:00Z, a Monday.
const FIRST_MIDNIGHT_MILLIS: i64 = 1_772_409_600_000;
