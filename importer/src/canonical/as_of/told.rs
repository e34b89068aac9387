//! Words before a day above a list: the day on which the list is true, or the one from which it is complete. Nobody
//! writes them alike ("Stand:", "Liste arrêtée au", "every coral written down since"), so they are told apart by what
//! must stand in them: a word for a state and a small word before the day; a word for all and one for since.

use analysis::vocabulary::text::words;

/// What a day above a list is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Told {
    /// The list is true on it.
    AsOf,
    /// From it on every coral was written down, also those that died.
    CompleteSince,
}

/// Words before a day at most.
const MOST: usize = 9;

/// Words that say a state, and lead to a day by themselves ("Stand 31.05.2025").
const STATES: &[&str] = &[
    "stand",
    "status",
    "state",
    "etat",
    "estado",
    "situation",
    "situacion",
    "situatie",
    "toestand",
    "updated",
    "update",
    "aktualisiert",
    "aktualisierung",
    "actualise",
    "actualisee",
    "actualizado",
    "actualizada",
    "actualizacion",
    "bijgewerkt",
    "checked",
    "gepruft",
    "durchgesehen",
    "verifie",
    "verifiee",
    "revisado",
    "revisada",
    "gecontroleerd",
    "nagekeken",
    "arrete",
    "arretee",
    "cerrado",
    "cerrada",
    "gultig",
    "valid",
    "valable",
    "valido",
    "valida",
    "geldig",
    "true",
    "correct",
    "correcte",
    "correcto",
    "correcta",
];
/// Pairs and more of words that say a state.
const STATES_OF_WORDS: [&str; 5] = ["up to date", "a jour", "al dia", "as of", "as at"];
/// Words for a list; a small word must lead from them to the day ("Liste vom 31.05.2025").
const LISTS: [&str; 9] = ["list", "lijst", "lista", "liste", "bestand", "besatz", "inventa", "inventory", "overzicht"];
/// Small words before a day.
const LEADS: [&str; 18] =
    ["of", "at", "on", "to", "by", "am", "vom", "zum", "au", "du", "le", "el", "al", "a", "del", "per", "op", "van"];
/// Words for a beginning: such a day is no state.
const BEGINS: &[&str] = &[
    "since",
    "from",
    "seit",
    "ab",
    "depuis",
    "partir",
    "desde",
    "sinds",
    "vanaf",
    "begun",
    "started",
    "start",
    "begonnen",
    "gestartet",
    "angelegt",
    "commence",
    "commencee",
    "debut",
    "empezado",
    "empezada",
    "iniciado",
    "iniciada",
    "gestart",
    "begin",
    "beginn",
    "born",
    "opened",
];
/// Words that a day follows from which something holds.
const SINCE: [&str; 9] = ["since", "from", "seit", "ab", "depuis", "desde", "sinds", "vanaf", "partir"];
/// Words that say that nothing is left out.
const WHOLE: &[&str] = &[
    "complete",
    "completely",
    "completed",
    "fully",
    "gapless",
    "vollstandig",
    "vollzahlig",
    "komplett",
    "luckenlos",
    "complet",
    "completement",
    "integral",
    "integrale",
    "exhaustif",
    "exhaustive",
    "completo",
    "completa",
    "completamente",
    "integro",
    "integra",
    "volledig",
    "compleet",
];
/// Words for everything, which need to say that it was written down: "alles neu seit" is another thing.
const EVERYTHING: [&str; 6] = ["everything", "all", "alles", "tout", "toutes", "todo"];
const WRITTEN: &[&str] = &[
    "written",
    "noted",
    "logged",
    "recorded",
    "listed",
    "kept",
    "aufgeschrieben",
    "notiert",
    "erfasst",
    "gefuhrt",
    "eingetragen",
    "dokumentiert",
    "note",
    "notee",
    "notes",
    "ecrit",
    "consigne",
    "inscrit",
    "apuntado",
    "anotado",
    "registrado",
    "escrito",
    "opgeschreven",
    "genoteerd",
    "bijgehouden",
    "ingevuld",
];
/// Words for each of several, which need to say of what.
const EACH: &[&str] =
    &["all", "every", "each", "alle", "jede", "jeder", "tous", "chaque", "todos", "todas", "cada", "elke", "elk"];
/// Of what: corals, gains and losses.
const ENTRIES: &[&str] = &[
    "coral",
    "corals",
    "koralle",
    "korallen",
    "corail",
    "coraux",
    "corales",
    "koraal",
    "koralen",
    "losses",
    "deaths",
    "entries",
    "verluste",
    "zugange",
    "pertes",
    "entrees",
    "bajas",
    "altas",
    "verliezen",
    "pieces",
    "stocke",
    "animals",
    "tiere",
    "animaux",
    "animales",
    "dieren",
];

/// What the words before a day say of it.
pub(super) fn told(before: &str) -> Option<Told> {
    let said = words(before);
    let (last, len) = (said.last()?.as_str(), said.len());
    if len > MOST {
        return None;
    }
    let has = |list: &[&str]| said.iter().any(|word| list.contains(&word.as_str()));
    // "depuis le", "à partir du": an article may stand between.
    let since = SINCE.contains(&last)
        || len > 1 && SINCE.contains(&said[len - 2].as_str()) && LEADS.contains(&last)
        || has(&SINCE) && before.trim_end().ends_with(':');
    if since {
        let whole = has(WHOLE) || has(EACH) && has(ENTRIES) || has(&EVERYTHING) && has(WRITTEN);
        return whole.then_some(Told::CompleteSince);
    }
    if has(BEGINS) {
        return None;
    }
    let folded = format!(" {} ", said.join(" "));
    let states = has(STATES) || STATES_OF_WORDS.iter().any(|state| folded.contains(&format!(" {state} ")));
    let leads = LEADS.contains(&last) || before.trim_end().ends_with(':');
    let lists = said.iter().any(|word| LISTS.iter().any(|list| word.contains(list)));
    let as_of = STATES.contains(&last) || leads && states || LEADS.contains(&last) && lists;
    as_of.then_some(Told::AsOf)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_before_the_day_of_a_list() {
        for before in [
            "Stand",
            "Stand:",
            "Stand vom",
            "Stand der Liste:",
            "As of",
            "Corals as of",
            "List true as of",
            "Last updated:",
            "up to date to",
            "Liste arrêtée au",
            "Liste à jour au",
            "État au",
            "état du stock au",
            "Mis à jour le",
            "Dernière mise à jour :",
            "Estado a",
            "Lista actualizada el",
            "Última actualización:",
            "Bijgewerkt tot en met op",
            "Stand per",
            "Lijst per",
            "Korallenliste vom",
            "Besatz am",
            "Inventaire au",
            "Zuletzt aktualisiert am",
            "Lijst bijgewerkt op",
            "Checked on",
        ] {
            assert_eq!(told(before), Some(Told::AsOf), "{before}");
        }
        for before in [
            "Every coral written down since",
            "complete since",
            "Complete from:",
            "Vollständig seit",
            "Vollständig geführt seit:",
            "Lückenlos geführt ab",
            "Alle Korallen aufgeschrieben seit",
            "alles notiert seit",
            "Complète depuis le",
            "Liste tenue complète depuis le",
            "Tous mes coraux notés depuis",
            "tout est noté à partir du",
            "Completa desde el",
            "Lista completa desde",
            "Todos los corales apuntados desde",
            "Volledig bijgehouden sinds",
            "Alle koralen sinds",
            "alles opgeschreven vanaf",
            "all losses written down since",
        ] {
            assert_eq!(told(before), Some(Told::CompleteSince), "{before}");
        }
        for before in [
            "",
            "Tank running since",
            "standing water",
            "Probe vom",
            "Sample of",
            "Becken läuft seit",
            "Liste begonnen am",
            "Corals",
            "from",
            "since",
            "Messungen vom",
            "Bac en eau depuis le",
            "gekauft am",
            "all lamps since",
            "Analyse vom",
            "complete",
            "alles neu seit",
            "tank full since",
            "Jour :",
            "the list was kept by hand for a long time and then typed in on",
        ] {
            assert_eq!(told(before), None, "{before}");
        }
    }
}
