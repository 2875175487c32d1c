//! The site file with every key, explained: written by `onus columns --site`.

/// A site file in which every key stands as a comment, with its default where
/// it has one and an example otherwise.
///
/// Lines that start with `# ` explain; a line that starts with `#` and a key
/// becomes a setting when its `#` is taken away.
pub const TEMPLATE: &str = r##"# onus.toml: how this site writes its inspection files, and its limits.
# Every key is optional; what is set here is checked, and a name that is not
# known is an error. Take away a # to set a key.

[site]
# Name of the site and author of the report, printed on it. Default: none.
#name = "North workshop"
#author = "Quality"
# Zone of times that carry none: a name of the tz database or an offset.
# Default: none, times are taken as the clock on the wall and that is told.
#time_zone = "Europe/Berlin"

[columns]
# Our name = the header in your files, or a list of headers. Headers in another
# case, with spaces or with a unit in them are matched without this.
#panel_id = "Serial no."
#x_mm = ["X pos", "PosX"]

[units]
# What a column is recorded in, where its header does not say.
# Lengths: mm, cm, m, in. Speeds: mm/s, cm/s, m/s, m/min, in/s, ft/min.
# Forces: N, kgf, lbf. Thickness: µm, mil. Areas: mm², cm², in².
# A pressure is no force: give the line N = a + b × reading instead.
#feed_mm_s = "m/min"
#force_n = { a = 0.0, b = 49.1 }

[numbers]
# Decimal mark: auto, point or comma. Default: auto, a comma where cells are
# parted by ; or tab and the numbers show it.
#decimal = "auto"
# Mark between thousands: , . ' or a space. Default: none.
#thousands = "."
# Encoding: auto, utf-8, utf-16 or windows-1252. Default: auto.
#encoding = "auto"
# Mark between cells: auto, comma, semicolon or tab. Default: auto.
#delimiter = "auto"
# What stands for "no value", besides a blank. In panel_id and machine the
# words among these (na, null, none) are names unless this key is set.
#missing = ["na", "n/a", "null", "none", "-", "--", "–", "—", "#n/a"]

[names]
# Spellings of one name, by column: the name = the others that are read as it.
#machine = { "M1" = ["m1", "Cell 1"] }

[possible]
# Between which values a number of a column or factor is possible at all, in
# the column's unit; beyond, it goes with its reason. `onus columns` tells the
# defaults.
#length_mm = { low = 1.0, high = 50000.0 }

[dates]
# Order of day and month in 03/04/2026: iso (not read), day-first, month-first.
#order = "iso"
# The last day that a date may have; later ones are told. Default: today.
#latest = "2026-12-31"

[grit]
# Scale of bare numbers: P (FEPA) or CAMI. Default: none; such a number from
# 240 up is then a label, not a size.
#scale = "P"

[defects]
# Words in the column defect that mean none, besides a blank.
#none = ["none", "ok", "okay", "pass", "passed", "good", "clean", "nothing", "n/a", "na", "nan", "null", "nil", "#n/a", "-", "--", "–", "—", "no defect", "i.o.", "in ordnung", "gut", "kein", "keine", "keiner", "fehlerfrei", "ohne befund", "o.b.", "aucun", "aucune", "rien", "néant", "bon", "conforme", "ninguno", "ninguna", "bueno", "nessuno", "nessuna", "buono"]
# Unit of the costs below: min, or a currency. Default: min.
#cost_unit = "min"

[defects.synonyms]
# A name = other names that mean the same.
#"sand-through" = ["rub-through", "burn-through"]

[defects.classes]
# over (too much removed), under (too little), surface (marks of the abrasive),
# incoming (came with the part). Usual names have their usual class.
#"white spot" = "incoming"

[defects.cost]
# What one panel with the defect costs, in cost_unit.
#"sand-through" = 25.0

[frames]
# The panel's corner that x and y are measured from, into the panel:
# lower-left, lower-right, upper-left or upper-right. Default: lower-left.
#origin = "lower-left"
# Or the direction of y from the left corner: up, or down as in images.
#y = "up"
# How far off its panel a mark may lie and still be moved to the edge, mm.
#edge_slack_mm = 5.0
# Along which machine axis panels feed, for drawings: x or y.
#feed_direction = "x"

[frames.inspectors]
# The same corner for single inspectors or stations, by their name.
#"Station 2" = "upper-right"

[factors]
# Further recipe factors: their column = number or text.
#tilt_setting = "number"
#pad = "text"

[recipe]
# Removal to aim at, and its limits, µm. Default: none.
#target_removed_um = 20.0
#min_removed_um = 15.0
#max_removed_um = 25.0
# Film that must be left, µm. Default: none.
#film_left_min_um = 15.0
# Contact force that is never exceeded, N. Default: none.
#force_cap_n = 60.0
# Distance between lines of the path, mm; gives the sanding time. Default: none.
#line_pitch_mm = 75.0
# Length of the path for one pass, mm; instead of the pitch. Default: none.
#path_length_mm = 12000.0
# Time per panel beside sanding, s. Default: none.
#handling_s = 20.0

[recipe.limits]
# What a setting may be, by column or factor, in the column's unit.
#feed_mm_s = { low = 40.0, high = 250.0 }

[analysis]
# Chance that a report on records without any repeat shows one.
#alpha = 0.01
# Level of the intervals.
#confidence = 0.95
# How much worse the opposite class of defects may get and a change still
# count as helping, as a rate ratio.
#non_inferiority_margin = 1.25
# The rate ratio worth finding, and the chance to find it.
#ratio_of_interest = 0.5
#power = 0.8
# When the production day and its first shift begin, and how long a shift is.
#day_start = "06:00"
#shift_hours = 8.0
# One point of a control chart: shift or day.
#subgroup = "shift"
# Fewer panels than this are told as few.
#few_panels = 30
# Seed of everything that draws random numbers.
#seed = 1

[report]
# Paper: a4 or letter.
#paper = "a4"
# Language: en.
#language = "en"
# Decimal mark of the text: point or comma.
#decimal_mark = "point"
# Dates: iso, day-first or month-first.
#date_style = "iso"
# Where you write down what was done about findings (date, finding or machine
# and defect, done, state); counted from this file's folder. Default: none.
#actions = "actions.csv"

[read]
# The most that all packed files (gzip and Parquet) may take, unpacked and
# read, MB; a million rows take about 300.
#max_unpacked_mb = 1024
# Whether panels that carry the marks of others are different
# panels; if not, they count once, and that is told.
#copies_are_real = false
# Where the panel's id stands in the file's name, * for anything. Default: none.
#panel_id_from_file = "{panel_id}_*"
# What makes a panel's id where ids start again: any of date, shift, machine
# and lot beside panel_id.
#panel_key = ["panel_id"]
"##;

/// The template with lines put in under some sections; what is put in comes
/// right below the section's head.
#[must_use]
pub fn filled_in(sections: &[(&str, Vec<String>)]) -> String {
    let mut text = String::with_capacity(TEMPLATE.len());
    for line in TEMPLATE.lines() {
        text.push_str(line);
        text.push('\n');
        let name = line.strip_prefix('[').and_then(|l| l.strip_suffix(']'));
        if let Some((_, lines)) = sections.iter().find(|(s, _)| Some(*s) == name) {
            for line in lines {
                text.push_str(line);
                text.push('\n');
            }
        }
    }
    text
}

/// A text as TOML writes it.
#[must_use]
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Site;

    fn uncommented() -> String {
        TEMPLATE
            .lines()
            .map(|line| match line.strip_prefix('#') {
                Some(setting) if !setting.starts_with(' ') => setting,
                _ => line,
            })
            .collect::<Vec<_>>()
            .join("\n")
    }

    #[test]
    fn the_template_as_written_sets_nothing() {
        assert_eq!(
            Site::parse(TEMPLATE, "onus.toml".as_ref()).unwrap(),
            Site::default()
        );
    }

    #[test]
    fn every_setting_of_the_template_is_read_and_every_default_is_as_stated() {
        let site = Site::parse(&uncommented(), "onus.toml".as_ref()).unwrap();
        let default = Site::default();
        assert_eq!(site.analysis, default.analysis);
        let actions = site.report.actions.clone();
        assert_eq!(actions.as_deref(), Some("actions.csv".as_ref()));
        let report = crate::site::ReportStyle {
            actions: None,
            ..site.report.clone()
        };
        assert_eq!(report, default.report);
        assert_eq!(site.defects.none, default.defects.none);
        assert_eq!(site.defects.cost_unit, default.defects.cost_unit);
        assert_eq!(site.numbers.missing, default.numbers.missing);
        assert_eq!(site.numbers.decimal, default.numbers.decimal);
        assert_eq!(site.dates.order, default.dates.order);
        assert_eq!(site.frames.origin, default.frames.origin);
        assert_eq!(site.frames.edge_slack_mm, default.frames.edge_slack_mm);
        assert_eq!(site.frames.feed_direction, default.frames.feed_direction);
        assert_eq!(site.read.max_unpacked_mb, default.read.max_unpacked_mb);
        assert_eq!(site.read.panel_key, default.read.panel_key);
        assert!(site.recipe.force_cap_n.is_some());
    }

    /// The names in the error for a key that does not exist are all the keys
    /// there are.
    #[test]
    fn every_key_there_is_stands_in_the_template() {
        for section in [
            "site", "numbers", "dates", "grit", "defects", "frames", "recipe", "analysis",
            "report", "read",
        ] {
            let error = Site::parse(&format!("[{section}]\nnot_a_key = 1\n"), "t".as_ref())
                .unwrap_err()
                .to_string();
            let keys: Vec<&str> = error.split('`').skip(3).step_by(2).collect();
            assert!(!keys.is_empty(), "{error}");
            for key in keys {
                assert!(
                    TEMPLATE.contains(&format!("\n#{key} = "))
                        || TEMPLATE.contains(&format!("\n[{section}.{key}]")),
                    "{key} of [{section}] is not explained"
                );
            }
        }
    }

    #[test]
    fn lines_are_put_in_under_their_section() {
        let text = filled_in(&[("columns", vec!["panel_id = \"Nr\"".to_owned()])]);
        let site = Site::parse(&text, "t".as_ref()).unwrap();
        assert_eq!(site.columns["panel_id"], vec!["Nr".to_owned()]);
    }
}
