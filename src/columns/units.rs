//! Units: converted once, on reading, into those the columns are named after.

use serde::{Deserialize, Deserializer, Serialize};

use super::Quantity;

/// A unit a site may record in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[expect(missing_docs, reason = "each is its unit, listed in name()")]
pub enum Unit {
    Millimetre,
    Centimetre,
    Metre,
    Inch,
    MillimetrePerSecond,
    CentimetrePerSecond,
    MetrePerSecond,
    MetrePerMinute,
    InchPerSecond,
    FootPerMinute,
    Newton,
    KilogramForce,
    PoundForce,
    Micrometre,
    Mil,
    SquareMillimetre,
    SquareCentimetre,
    SquareInch,
    Degree,
}

/// Metres per inch, exact by definition (international inch, 1959).
const MM_PER_INCH: f64 = 25.4;
/// Newton per kilogram-force: standard gravity, exact by definition (3rd CGPM, 1901).
const N_PER_KGF: f64 = 9.806_65;
/// Kilogram per pound, exact by definition (international pound, 1959).
const KG_PER_LB: f64 = 0.453_592_37;

impl Unit {
    /// All units.
    pub const ALL: [Unit; 19] = [
        Unit::Millimetre,
        Unit::Centimetre,
        Unit::Metre,
        Unit::Inch,
        Unit::MillimetrePerSecond,
        Unit::CentimetrePerSecond,
        Unit::MetrePerSecond,
        Unit::MetrePerMinute,
        Unit::InchPerSecond,
        Unit::FootPerMinute,
        Unit::Newton,
        Unit::KilogramForce,
        Unit::PoundForce,
        Unit::Micrometre,
        Unit::Mil,
        Unit::SquareMillimetre,
        Unit::SquareCentimetre,
        Unit::SquareInch,
        Unit::Degree,
    ];

    /// The unit as the site file spells it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Unit::Millimetre => "mm",
            Unit::Centimetre => "cm",
            Unit::Metre => "m",
            Unit::Inch => "in",
            Unit::MillimetrePerSecond => "mm/s",
            Unit::CentimetrePerSecond => "cm/s",
            Unit::MetrePerSecond => "m/s",
            Unit::MetrePerMinute => "m/min",
            Unit::InchPerSecond => "in/s",
            Unit::FootPerMinute => "ft/min",
            Unit::Newton => "N",
            Unit::KilogramForce => "kgf",
            Unit::PoundForce => "lbf",
            Unit::Micrometre => "µm",
            Unit::Mil => "mil",
            Unit::SquareMillimetre => "mm²",
            Unit::SquareCentimetre => "cm²",
            Unit::SquareInch => "in²",
            Unit::Degree => "deg",
        }
    }

    /// How many of the column's own units one of these is, exactly as
    /// defined: mm, mm/s, N, µm, mm², degrees.
    #[must_use]
    pub const fn factor(self) -> f64 {
        match self {
            Unit::Millimetre
            | Unit::MillimetrePerSecond
            | Unit::Newton
            | Unit::Micrometre
            | Unit::SquareMillimetre
            | Unit::Degree => 1.0,
            Unit::Centimetre | Unit::CentimetrePerSecond => 10.0,
            Unit::Metre | Unit::MetrePerSecond => 1000.0,
            Unit::Inch | Unit::InchPerSecond => MM_PER_INCH,
            Unit::MetrePerMinute => 1000.0 / 60.0,
            Unit::FootPerMinute => 12.0 * MM_PER_INCH / 60.0,
            Unit::KilogramForce => N_PER_KGF,
            Unit::PoundForce => KG_PER_LB * N_PER_KGF,
            Unit::Mil => MM_PER_INCH,
            Unit::SquareCentimetre => 100.0,
            Unit::SquareInch => MM_PER_INCH * MM_PER_INCH,
        }
    }

    /// Whether a column of that quantity may be recorded in it.
    #[must_use]
    pub const fn measures(self, quantity: Quantity) -> bool {
        match quantity {
            Quantity::Length | Quantity::Size => matches!(
                self,
                Unit::Millimetre | Unit::Centimetre | Unit::Metre | Unit::Inch
            ),
            Quantity::Speed => matches!(
                self,
                Unit::MillimetrePerSecond
                    | Unit::CentimetrePerSecond
                    | Unit::MetrePerSecond
                    | Unit::MetrePerMinute
                    | Unit::InchPerSecond
                    | Unit::FootPerMinute
            ),
            Quantity::Force => {
                matches!(self, Unit::Newton | Unit::KilogramForce | Unit::PoundForce)
            }
            Quantity::Thickness => matches!(self, Unit::Micrometre | Unit::Mil),
            Quantity::Area => matches!(
                self,
                Unit::SquareMillimetre | Unit::SquareCentimetre | Unit::SquareInch
            ),
            Quantity::Lay => matches!(self, Unit::Degree),
            Quantity::Text
            | Quantity::Time
            | Quantity::Passes
            | Quantity::Age
            | Quantity::Ordinal
            | Quantity::Grade
            | Quantity::Grit => false,
        }
    }

    /// The unit a header or cell spells, in any of the usual spellings;
    /// `m/min`, `m_min` and `m per min` are the same.
    #[must_use]
    pub fn parse(text: &str) -> Option<Unit> {
        let mut key = String::new();
        for c in text.trim().chars() {
            match c {
                ' ' | '.' => {}
                '_' => key.push('/'),
                'μ' | 'µ' => key.push('u'),
                '²' => key.push('2'),
                c => key.extend(c.to_lowercase()),
            }
        }
        let key = key.replace("per", "/");
        Some(match key.as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Unit::Millimetre,
            "cm" | "centimetre" | "centimeter" => Unit::Centimetre,
            "m" | "metre" | "meter" => Unit::Metre,
            "in" | "inch" | "inches" | "\"" => Unit::Inch,
            "mm/s" | "mm/sec" | "mms" => Unit::MillimetrePerSecond,
            "cm/s" | "cm/sec" => Unit::CentimetrePerSecond,
            "m/s" | "m/sec" => Unit::MetrePerSecond,
            "m/min" | "m/minute" => Unit::MetrePerMinute,
            "in/s" | "in/sec" | "ips" | "inch/s" => Unit::InchPerSecond,
            "ft/min" | "fpm" | "ft/minute" => Unit::FootPerMinute,
            "n" | "newton" => Unit::Newton,
            "kgf" | "kg" | "kp" => Unit::KilogramForce,
            "lbf" | "lb" | "lbs" => Unit::PoundForce,
            "um" | "micron" | "microns" | "micrometre" | "micrometer" => Unit::Micrometre,
            "mil" | "mils" | "thou" => Unit::Mil,
            "mm2" | "mm^2" | "sqmm" => Unit::SquareMillimetre,
            "cm2" | "cm^2" | "sqcm" => Unit::SquareCentimetre,
            "in2" | "in^2" | "sqin" => Unit::SquareInch,
            "deg" | "°" | "degree" | "degrees" => Unit::Degree,
            _ => return None,
        })
    }

    /// Whether the text is a unit of pressure or a share of a range: no force,
    /// whatever the column is called.
    #[must_use]
    pub fn is_pressure(text: &str) -> bool {
        matches!(
            text.trim().to_lowercase().as_str(),
            "bar"
                | "mbar"
                | "psi"
                | "kpa"
                | "mpa"
                | "pa"
                | "hpa"
                | "%"
                | "percent"
                | "n/mm2"
                | "n/mm²"
        )
    }
}

impl<'de> Deserialize<'de> for Unit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Unit::parse(&text).ok_or_else(|| {
            let names = Unit::ALL.map(Unit::name);
            let hint = if Unit::is_pressure(&text) {
                "; a pressure is no force: give a calibration line { a = …, b = … } with N = a + b × reading"
            } else {
                ""
            };
            serde::de::Error::custom(format!(
                "unknown unit `{text}`, expected one of {}{hint}",
                names.join(", ")
            ))
        })
    }
}

/// How the numbers of a column become the column's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Conversion {
    /// Recorded in this unit.
    Unit(Unit),
    /// `offset + slope × reading`, for a force read off a pressure gauge.
    Line {
        /// In the column's unit, at a reading of 0.
        offset: f64,
        /// In the column's unit per unit of the reading.
        slope: f64,
    },
}

impl Conversion {
    /// The recorded number in the column's own unit.
    #[must_use]
    pub fn apply(self, recorded: f64) -> f64 {
        match self {
            Conversion::Unit(unit) => recorded * unit.factor(),
            Conversion::Line { offset, slope } => offset + slope * recorded,
        }
    }
}

impl std::fmt::Display for Conversion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Conversion::Unit(unit) => f.write_str(unit.name()),
            Conversion::Line { offset, slope } => write!(f, "{offset} + {slope} × reading"),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CalibrationLine {
    a: f64,
    b: f64,
}

impl<'de> Deserialize<'de> for Conversion {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;
        impl<'de> serde::de::Visitor<'de> for Visitor {
            type Value = Conversion;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a unit such as \"in\", or a calibration line { a = …, b = … }")
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Conversion, E> {
                Unit::deserialize(serde::de::value::StrDeserializer::new(text))
                    .map(Conversion::Unit)
            }
            fn visit_map<A: serde::de::MapAccess<'de>>(
                self,
                map: A,
            ) -> Result<Conversion, A::Error> {
                let line = CalibrationLine::deserialize(
                    serde::de::value::MapAccessDeserializer::new(map),
                )?;
                Ok(Conversion::Line {
                    offset: line.a,
                    slope: line.b,
                })
            }
        }
        deserializer.deserialize_any(Visitor)
    }
}
