//! Plain words for the columns in five languages, as inspection files head
//! them. From general knowledge of the languages and of sanding shops.

use crate::records::Column;

/// Words for a column, in lower case, without accents (ä is a or ae). A phrase
/// of several words matches a header that has all of them.
pub(super) const WORDS: [(Column, &[&str]); 35] = [
    (
        Column::PanelId,
        &[
            "panel",
            "panel id",
            "panel no",
            "panel number",
            "serial",
            "serial no",
            "serial number",
            "workpiece",
            "board no",
            "piece no",
            "platte",
            "platten nr",
            "plattennummer",
            "tafel",
            "tafel nr",
            "seriennummer",
            "serien nr",
            "werkstuck",
            "werkstueck",
            "bauteil nr",
            "panneau",
            "no panneau",
            "numero de serie",
            "no serie",
            "plaque",
            "tablero",
            "tablero no",
            "numero serie",
            "placa",
            "pannello",
            "n pannello",
            "matricola",
            "lastra",
        ],
    ),
    (
        Column::SandedAt,
        &[
            "sanded",
            "sanded at",
            "sanded on",
            "sanding time",
            "sanding date",
            "timestamp",
            "date time",
            "date",
            "time",
            "schleifzeit",
            "schleifdatum",
            "geschliffen",
            "zeitstempel",
            "datum",
            "zeitpunkt",
            "ponce le",
            "date poncage",
            "poncage",
            "horodatage",
            "heure",
            "lijado",
            "fecha",
            "fecha lijado",
            "fecha hora",
            "levigatura",
            "levigato il",
            "carteggiatura",
            "data",
            "data ora",
            "data levigatura",
        ],
    ),
    (
        Column::Machine,
        &[
            "machine",
            "cell",
            "sanding cell",
            "line",
            "maschine",
            "masch",
            "anlage",
            "anl",
            "zelle",
            "linie",
            "schleifzelle",
            "cellule",
            "ligne",
            "installation",
            "maquina",
            "celda",
            "celula",
            "linea",
            "macchina",
            "cella",
            "impianto",
        ],
    ),
    (
        Column::Head,
        &[
            "head",
            "sanding head",
            "spindle",
            "kopf",
            "schleifkopf",
            "aggregat",
            "spindel",
            "tete",
            "broche",
            "cabezal",
            "husillo",
            "testa",
            "mandrino",
        ],
    ),
    (
        Column::Fixture,
        &[
            "fixture",
            "nest",
            "jig",
            "aufnahme",
            "vorrichtung",
            "montage",
            "gabarit",
            "utillaje",
            "nido",
            "dima",
            "posaggio",
            "attrezzatura",
        ],
    ),
    (
        Column::Part,
        &[
            "part",
            "part no",
            "part number",
            "article",
            "design",
            "teil",
            "teilenummer",
            "teile nr",
            "artikel",
            "artikelnummer",
            "sachnummer",
            "reference",
            "ref",
            "referencia",
            "articulo",
            "articolo",
            "codice articolo",
            "particolare",
        ],
    ),
    (
        Column::Supplier,
        &[
            "supplier",
            "vendor",
            "lieferant",
            "fournisseur",
            "proveedor",
            "fornitore",
        ],
    ),
    (
        Column::Lot,
        &[
            "lot",
            "lot no",
            "batch",
            "los",
            "losnummer",
            "charge",
            "chargen nr",
            "numero de lot",
            "lote",
            "partida",
            "lotto",
            "partita",
        ],
    ),
    (
        Column::LengthMm,
        &[
            "length",
            "panel length",
            "lange",
            "laenge",
            "plattenlange",
            "longueur",
            "largo",
            "longitud",
            "lunghezza",
        ],
    ),
    (
        Column::WidthMm,
        &[
            "width",
            "panel width",
            "breite",
            "plattenbreite",
            "largeur",
            "ancho",
            "anchura",
            "larghezza",
        ],
    ),
    (
        Column::LayDeg,
        &[
            "lay",
            "orientation",
            "rotation",
            "turned",
            "lage",
            "drehung",
            "drehlage",
            "ausrichtung",
            "orientacion",
            "giro",
            "orientamento",
            "rotazione",
        ],
    ),
    (
        Column::LayXMm,
        &[
            "lay x",
            "offset x",
            "lage x",
            "versatz x",
            "decalage x",
            "desplazamiento x",
            "scostamento x",
        ],
    ),
    (
        Column::LayYMm,
        &[
            "lay y",
            "offset y",
            "lage y",
            "versatz y",
            "decalage y",
            "desplazamiento y",
            "scostamento y",
        ],
    ),
    (
        Column::Recipe,
        &[
            "recipe",
            "program",
            "programme",
            "rezept",
            "programm",
            "schleifprogramm",
            "recette",
            "receta",
            "programa",
            "ricetta",
            "programma",
        ],
    ),
    (
        Column::FeedMmS,
        &[
            "feed",
            "feed speed",
            "feed rate",
            "vorschub",
            "vorschubgeschwindigkeit",
            "avance",
            "vitesse",
            "vitesse avance",
            "velocidad",
            "velocidad avance",
            "avanzamento",
            "velocita",
            "velocita avanzamento",
        ],
    ),
    (
        Column::Passes,
        &[
            "passes",
            "number of passes",
            "durchgange",
            "durchgaenge",
            "uberfahrten",
            "ueberfahrten",
            "passages",
            "pasadas",
            "passate",
        ],
    ),
    (
        Column::ForceN,
        &[
            "force",
            "contact force",
            "kraft",
            "anpresskraft",
            "schleifkraft",
            "effort",
            "fuerza",
            "forza",
        ],
    ),
    (
        Column::Grit,
        &[
            "grit", "kornung", "koernung", "korn", "grain", "grano", "grana",
        ],
    ),
    (
        Column::AbrasiveAge,
        &[
            "abrasive age",
            "disc age",
            "belt age",
            "panels on disc",
            "schleifmittel alter",
            "scheibenalter",
            "bandalter",
            "standzeit",
            "age abrasif",
            "edad abrasivo",
            "edad disco",
            "eta abrasivo",
            "vita abrasivo",
        ],
    ),
    (
        Column::AbrasiveId,
        &[
            "abrasive",
            "disc",
            "belt",
            "schleifmittel",
            "scheibe",
            "schleifband",
            "abrasif",
            "disque",
            "bande",
            "abrasivo",
            "disco",
            "banda",
            "nastro",
        ],
    ),
    (
        Column::Plan,
        &["trial", "versuch", "essai", "ensayo", "prova"],
    ),
    (Column::PlanBlock, &["trial block"]),
    (Column::PlanRun, &["trial run"]),
    (Column::PlanChange, &["trial change"]),
    (
        Column::Inspector,
        &[
            "inspector",
            "inspected by",
            "checked by",
            "prufer",
            "pruefer",
            "kontrolleur",
            "controleur",
            "inspecteur",
            "verificador",
            "ispettore",
            "controllore",
        ],
    ),
    (
        Column::InspectedAt,
        &[
            "inspected",
            "inspected at",
            "inspection time",
            "inspection date",
            "prufzeit",
            "pruefzeit",
            "prufdatum",
            "pruefdatum",
            "gepruft",
            "date controle",
            "date inspection",
            "controle le",
            "fecha inspeccion",
            "inspeccionado",
            "data ispezione",
            "data controllo",
        ],
    ),
    (
        Column::InspectLayDeg,
        &[
            "inspection lay",
            "table lay",
            "lage pruftisch",
            "orientation controle",
        ],
    ),
    (
        Column::Inspection,
        &[
            "inspection",
            "inspection no",
            "check no",
            "prufung nr",
            "pruefung nr",
            "pruf nr",
            "no controle",
            "no inspeccion",
            "n ispezione",
        ],
    ),
    (
        Column::XMm,
        &[
            "x",
            "x pos",
            "pos x",
            "x coordinate",
            "coord x",
            "x koordinate",
            "posicion x",
            "posizione x",
        ],
    ),
    (
        Column::YMm,
        &[
            "y",
            "y pos",
            "pos y",
            "y coordinate",
            "coord y",
            "y koordinate",
            "posicion y",
            "posizione y",
        ],
    ),
    (
        Column::Defect,
        &[
            "defect",
            "defect type",
            "kind of defect",
            "fault",
            "flaw",
            "fehler",
            "fehlerart",
            "fehlertyp",
            "mangel",
            "defekt",
            "befund",
            "defaut",
            "type de defaut",
            "defecto",
            "tipo de defecto",
            "tipo defecto",
            "difetto",
            "tipo difetto",
            "tipo di difetto",
        ],
    ),
    (
        Column::AreaMm2,
        &[
            "area",
            "defect area",
            "flache",
            "flaeche",
            "fehlerflache",
            "aire",
            "superficie",
        ],
    ),
    (
        Column::Severity,
        &[
            "severity",
            "grade",
            "schwere",
            "schweregrad",
            "gravite",
            "severite",
            "gravedad",
            "severidad",
            "gravita",
            "severita",
        ],
    ),
    (
        Column::RemovedUm,
        &[
            "removal",
            "removed",
            "stock removal",
            "abtrag",
            "materialabtrag",
            "enlevement",
            "arranque",
            "remocion",
            "asportazione",
            "rimozione",
        ],
    ),
    (
        Column::FilmUm,
        &[
            "film",
            "film thickness",
            "coating thickness",
            "schichtdicke",
            "filmdicke",
            "lackdicke",
            "epaisseur",
            "espesor",
            "spessore",
        ],
    ),
];

/// How well a header's name says a column, 0..1: 1 for the very words, less
/// where it has further ones.
pub(super) fn likeness(header: &str, column: Column) -> f64 {
    let words = words_of(header);
    let own = words_of(&column.name().replace('_', " "));
    let listed = WORDS.iter().find(|(c, _)| *c == column);
    let phrases = listed.map_or(&[][..], |(_, phrases)| phrases);
    let mut best: f64 = if words == own { 1.0 } else { 0.0 };
    for phrase in phrases {
        let wanted: Vec<&str> = phrase.split(' ').collect();
        let found = wanted.iter().filter(|w| words.iter().any(|own| own == **w));
        if found.count() == wanted.len() {
            let letters = |words: usize, all: usize| words as f64 / all.max(1) as f64;
            best = best.max(0.4 + 0.6 * letters(wanted.len(), words.len()));
        } else if wanted.len() == 1 && phrase.len() >= 5 {
            // Compound words: "Plattenfehler".
            let within = words.iter().any(|own| own.contains(phrase));
            if within {
                best = best.max(0.45);
            }
        }
    }
    best
}

/// The words of a header in lower case without accents, units and numbers.
pub(super) fn words_of(header: &str) -> Vec<String> {
    let mut text = String::new();
    let mut depth = 0usize;
    let mut before = ' ';
    for c in header.chars() {
        match c {
            '(' | '[' => depth += 1,
            ')' | ']' => depth = depth.saturating_sub(1),
            _ if depth > 0 => {}
            c => {
                // camelCase
                if c.is_uppercase() && before.is_lowercase() {
                    text.push(' ');
                }
                text.push_str(&plain_letter(c));
            }
        }
        before = c;
    }
    const UNITS: [&str; 14] = [
        "mm", "cm", "m", "s", "min", "in", "ft", "n", "kgf", "lbf", "um", "mil", "mm2", "deg",
    ];
    let words: Vec<String> = text
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect();
    let named: Vec<String> = (words.iter())
        .enumerate()
        .filter(|(at, word)| *at == 0 || !UNITS.contains(&word.as_str()))
        .map(|(_, word)| word.clone())
        .collect();
    named
}

fn plain_letter(c: char) -> String {
    let lower = c.to_lowercase().next().unwrap_or(c);
    let plain = match lower {
        'à' | 'á' | 'â' | 'ä' | 'ã' | 'å' => 'a',
        'è' | 'é' | 'ê' | 'ë' => 'e',
        'ì' | 'í' | 'î' | 'ï' => 'i',
        'ò' | 'ó' | 'ô' | 'ö' | 'õ' => 'o',
        'ù' | 'ú' | 'û' | 'ü' => 'u',
        'ç' => 'c',
        'ñ' => 'n',
        'ß' => return "ss".to_owned(),
        '°' | 'º' => return " no ".to_owned(),
        other => other,
    };
    plain.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_of_five_languages_say_their_columns() {
        for (header, column) in [
            ("Serial No.", Column::PanelId),
            ("Platten-Nr", Column::PanelId),
            ("N° panneau", Column::PanelId),
            ("Matricola", Column::PanelId),
            ("Länge [mm]", Column::LengthMm),
            ("Longueur", Column::LengthMm),
            ("Largo mm", Column::LengthMm),
            ("Larghezza (mm)", Column::WidthMm),
            ("Vorschub m/min", Column::FeedMmS),
            ("Fehlerart", Column::Defect),
            ("Défaut", Column::Defect),
            ("tipoDifetto", Column::Defect),
            ("Körnung", Column::Grit),
            ("fecha de lijado", Column::SandedAt),
            ("Prüfer", Column::Inspector),
            ("Pos. X", Column::XMm),
        ] {
            let best = Column::ALL
                .into_iter()
                .max_by(|a, b| likeness(header, *a).total_cmp(&likeness(header, *b)))
                .unwrap();
            assert_eq!(best, column, "{header}: {:?}", words_of(header));
            assert!(likeness(header, column) > 0.5, "{header}");
        }
        assert!(likeness("Bemerkung", Column::PanelId) < 0.1);
    }
}
