//! Glucose values and their units. One unit inside, mg/dL; mmol/L exists only where text is read or shown.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// mg/dL in one mmol/L: the molar mass of glucose C6H12O6, 180.156 g/mol, divided by ten
/// (IUPAC atomic weights; from memory, agrees to four digits with the factor 18.016 found in the literature).
pub const MG_DL_PER_MMOL_L: f64 = 18.0156;

/// From here on, downwards, people are told "falling", mg/dL per minute. What a rule says of a fall begins there too: nobody
/// is asked to do something about a fall that they are told is none.
pub const FALLING_MG_DL_PER_MIN: f64 = -0.5;

/// The unit a person or a file speaks, by its UCUM code.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Milligrams per decilitre.
    #[default]
    #[serde(rename = "mg/dL")]
    MgDl,
    /// Millimoles per litre.
    #[serde(rename = "mmol/L")]
    MmolL,
}

impl Unit {
    /// Reads a UCUM code, whatever its case. `None` for anything else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "mg/dl" => Some(Self::MgDl),
            "mmol/l" => Some(Self::MmolL),
            _ => None,
        }
    }

    /// A number in this unit, in mg/dL.
    #[must_use]
    pub fn to_mg_dl(self, number: f64) -> f64 {
        match self {
            Self::MgDl => number,
            Self::MmolL => number * MG_DL_PER_MMOL_L,
        }
    }

    /// A number in mg/dL, in this unit, not rounded.
    #[must_use]
    pub fn of_mg_dl(self, mg_dl: f64) -> f64 {
        match self {
            Self::MgDl => mg_dl,
            Self::MmolL => mg_dl / MG_DL_PER_MMOL_L,
        }
    }

    /// Decimals shown for a level: none in mg/dL, one in mmol/L.
    #[must_use]
    pub const fn decimals(self) -> usize {
        match self {
            Self::MgDl => 0,
            Self::MmolL => 1,
        }
    }

    /// A level in mg/dL as a number in this unit, rounded for display (halves away from zero), without the unit.
    ///
    /// ```
    /// use lowtide::words::Unit;
    /// assert_eq!(Unit::MmolL.show(70.0), "3.9");
    /// assert_eq!(Unit::MgDl.show(69.5), "70");
    /// ```
    #[must_use]
    pub fn show(self, mg_dl: f64) -> String {
        let scale = 10_f64.powi(self.decimals() as i32);
        format!("{:.*}", self.decimals(), (self.of_mg_dl(mg_dl) * scale).round() / scale)
    }

    /// The UCUM code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::MgDl => "mg/dL",
            Self::MmolL => "mmol/L",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// What a sensor said at one time: a number in mg/dL, or only that it was out of its range.
///
/// Kept as JSON as a number, `"LO"` or `"HI"`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// Under what the sensor can read: it may be anything lower.
    Below,
    /// A level in mg/dL, finite and above zero.
    Level(f64),
    /// Over what the sensor can read.
    Above,
}

/// Why a text is not a glucose value.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ValueError {
    /// Not a number, `LO` or `HI`.
    #[error("'{0}' is not a glucose value: expected a number, LO or HI")]
    NotANumber(String),
    /// A number that no body holds in that unit.
    #[error("{number} {unit} cannot be a glucose value{hint}")]
    Impossible {
        /// The number as it was written.
        number: String,
        /// The unit it was taken to be in.
        unit: Unit,
        /// What may have gone wrong, starting with a colon; may be empty.
        hint: &'static str,
    },
}

impl Value {
    /// Reads `LO` (or `LOW`), `HI` (or `HIGH`), whatever their case, or a number in `unit` (decimal point).
    ///
    /// # Errors
    /// If it is neither, or a level no blood has: outside 1 to 2000 mg/dL after conversion.
    ///
    /// ```
    /// use lowtide::words::{Unit, Value};
    /// assert_eq!(Value::parse("LO", Unit::MgDl), Ok(Value::Below));
    /// assert_eq!(Value::parse("112", Unit::MgDl), Ok(Value::Level(112.0)));
    /// assert!(Value::parse("112", Unit::MmolL).is_err());
    /// ```
    pub fn parse(text: &str, unit: Unit) -> Result<Self, ValueError> {
        let text = text.trim();
        let is = |words: [&str; 2]| words.iter().any(|word| text.eq_ignore_ascii_case(word));
        if is(["lo", "low"]) {
            return Ok(Self::Below);
        }
        if is(["hi", "high"]) {
            return Ok(Self::Above);
        }
        let number: f64 = text.parse().map_err(|_| ValueError::NotANumber(text.into()))?;
        let mg_dl = unit.to_mg_dl(number);
        if (1.0..=2000.0).contains(&mg_dl) {
            return Ok(Self::Level(mg_dl));
        }
        let hint = match unit {
            Unit::MmolL if mg_dl > 2000.0 && number <= 600.0 => ": is it in mg/dL?",
            _ => "",
        };
        Err(ValueError::Impossible { number: text.into(), unit, hint })
    }

    /// The level in mg/dL, if the sensor gave one.
    #[must_use]
    pub const fn level(self) -> Option<f64> {
        match self {
            Self::Level(mg_dl) => Some(mg_dl),
            Self::Below | Self::Above => None,
        }
    }

    /// Whether hardly any cat survives such a level: written without its unit, it is more likely in the other one.
    #[must_use]
    pub fn is_unlikely(self) -> bool {
        self.level().is_some_and(|mg_dl| !(20.0..=700.0).contains(&mg_dl))
    }

    /// Whether this is under `limit` mg/dL, as far as it says: *below range* is under every limit.
    #[must_use]
    pub fn under(self, limit: f64) -> bool {
        match self {
            Self::Below => true,
            Self::Level(mg_dl) => mg_dl < limit,
            Self::Above => false,
        }
    }
}

/// What blood can hold, with much to spare, mg/dL; chosen by us.
const LEVELS_MG_DL: std::ops::RangeInclusive<f64> = 1.0..=2000.0;

impl Serialize for Value {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Below => serializer.serialize_str("LO"),
            Self::Above => serializer.serialize_str("HI"),
            Self::Level(mg_dl) if mg_dl.fract() == 0.0 => serializer.serialize_i64(*mg_dl as i64),
            Self::Level(mg_dl) => serializer.serialize_f64(*mg_dl),
        }
    }
}

impl<'de> Deserialize<'de> for Value {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Raw {
            Number(f64),
            Text(String),
        }
        match Raw::deserialize(deserializer)? {
            // The same bounds as for typed text: what comes over the socket or from an export is a stranger's word too.
            Raw::Number(mg_dl) if !LEVELS_MG_DL.contains(&mg_dl) => {
                Err(serde::de::Error::custom(format!("{mg_dl} mg/dL is a level that no blood has")))
            }
            Raw::Number(mg_dl) => Ok(Self::Level(mg_dl)),
            Raw::Text(text) => Self::parse(&text, Unit::MgDl).map_err(serde::de::Error::custom),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Divisions by 18.0156 at the glucose thresholds that guidelines print in both units; the rounded pairs
    /// 54-3.0, 70-3.9, 180-10.0 and 250-13.9 are those of the international consensus on time in range
    /// (Battelino et al., Diabetes Care 2019;42:1593-1603).
    #[test]
    fn thresholds_show_as_the_consensus_prints_them() {
        for (mg_dl, shown) in [
            (40.0, "2.2"),
            (54.0, "3.0"),
            (60.0, "3.3"),
            (63.0, "3.5"),
            (70.0, "3.9"),
            (80.0, "4.4"),
            (100.0, "5.6"),
            (126.0, "7.0"),
            (150.0, "8.3"),
            (180.0, "10.0"),
            (200.0, "11.1"),
            (250.0, "13.9"),
            (270.0, "15.0"),
            (288.0, "16.0"),
            (300.0, "16.7"),
            (400.0, "22.2"),
            (500.0, "27.8"),
        ] {
            assert_eq!(Unit::MmolL.show(mg_dl), shown, "{mg_dl} mg/dL");
        }
    }

    #[test]
    fn millimoles_come_back_as_milligrams() {
        for (mmol_l, mg_dl) in
            [(2.2, "40"), (3.0, "54"), (3.9, "70"), (7.0, "126"), (10.0, "180"), (27.8, "501")]
        {
            assert_eq!(Unit::MgDl.show(Unit::MmolL.to_mg_dl(mmol_l)), mg_dl, "{mmol_l} mmol/L");
        }
    }

    #[test]
    fn a_wrong_unit_is_named() {
        let error = Value::parse("250", Unit::MmolL).unwrap_err();
        assert!(error.to_string().contains("is it in mg/dL?"), "{error}");
        assert!(Value::parse("NaN", Unit::MgDl).is_err() && Value::parse("inf", Unit::MgDl).is_err());
        assert!(Value::parse("-5", Unit::MgDl).is_err() && Value::parse("", Unit::MgDl).is_err());
    }

    #[test]
    fn below_range_is_under_every_limit_and_never_a_number() {
        assert!(Value::Below.under(1.0) && Value::Below.level().is_none());
        assert_eq!(
            serde_json::to_string(&[Value::Below, Value::Level(81.0), Value::Level(81.5)]).unwrap(),
            r#"["LO",81,81.5]"#
        );
    }
}
