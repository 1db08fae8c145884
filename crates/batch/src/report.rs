//! A plan as JSON with the unit in every key: for scripts and outside checks.

use crate::document::{Batch, Stage};
use crate::json::name;
use crate::moment::Moment;
use crate::plan::{Figure, Level, Origin, Plan, next_move};
use crate::say::{Piece, Sentence};
use calc::quantity::Amount;
use serde_json::{Map, Value, json};

/// An amount in the first unit of its kind, with the key that names it.
fn keyed(name: &str, amount: Amount) -> (String, Value) {
    let unit = &amount.dimension.units()[0];
    (format!("{name}_{}", unit.key), json!(amount.in_unit(unit)))
}

pub(crate) fn text(sentence: &Sentence) -> String {
    sentence
        .iter()
        .map(|piece| match piece {
            Piece::Words(words) => (*words).to_owned(),
            Piece::Name(name) => name.clone(),
            Piece::Amount(amount) => amount.text(&amount.dimension.units()[0]),
            Piece::Time(moment) => format!("[{} s]", moment.as_seconds()),
        })
        .collect()
}

/// The plan as JSON:
///
/// - `stages`: under each stage's key, each figure by its name as an object with
///   `value_UNIT`, `low_UNIT`, `high_UNIT` (the 80 % band) and `origin`
///   (`predicted` or `measured`), or `not_known_because`;
/// - `salts` with `mash_g` and `rinse_g`, `mash_course` with the pH against acid, `grist` with `mass_g` and `share_percent`;
/// - `course`: the forecast pH from the pitch on;
/// - `burst_check`, `warnings` with `stage`, `level` and `says`, and `next_move` as of `now`.
pub fn plan_json(batch: &Batch, plan: &Plan, now: Moment) -> Value {
    let mut stages: Map<String, Value> =
        Stage::ALL.iter().map(|stage| (stage.key().to_owned(), Value::Object(Map::new()))).collect();
    for &figure in Figure::ALL {
        let shown = match figure.of(&plan.figures) {
            Ok(shown) => {
                let origin = match shown.origin {
                    Origin::Predicted => "predicted",
                    Origin::Measured => "measured",
                };
                let mut entry: Map<String, Value> =
                    [keyed("value", shown.value), keyed("low", shown.low), keyed("high", shown.high)]
                        .into_iter()
                        .collect();
                entry.insert("origin".to_owned(), json!(origin));
                Value::Object(entry)
            }
            Err(unknown) => json!({ "not_known_because": text(&unknown.sentence()) }),
        };
        if let Some(Value::Object(stage)) = stages.get_mut(figure.stage().key()) {
            stage.insert(figure.key().to_owned(), shown);
        }
    }
    let next = next_move(batch, plan, now);
    json!({
        "stages": stages,
        "salts": plan.salts.iter().map(|line| json!({
            "salt": name(&line.salt), "mash_g": line.mash.as_grams(), "rinse_g": line.rinse.as_grams(),
        })).collect::<Vec<_>>(),
        "mash_course": plan.mash_course(batch).iter().map(|(acid, ph)| json!({
            "acid_ml": acid.as_millilitres(), "low_ph": ph.low.value(), "value_ph": ph.value.value(), "high_ph": ph.high.value(),
        })).collect::<Vec<_>>(),
        "grist": plan.malts.iter().map(|line| json!({
            "class": name(&line.class),
            "mass_g": line.mass.map(|mass| mass.as_grams()),
            "share_percent": line.share.map(|share| share.as_percent()),
        })).collect::<Vec<_>>(),
        "corrections": plan.fixes.iter().map(text).collect::<Vec<_>>(),
        "kettle": plan.kettle.iter().map(|(when, level)| json!({ "when": when, "l": level.as_litres() })).collect::<Vec<_>>(),
        "bitterness_course": plan.bitterness_course().iter().map(|(at, ibu)| json!({
            "after_min": at.as_minutes(), "ibu": ibu.as_ibu(),
        })).collect::<Vec<_>>(),
        "course": plan.course.iter().map(|point| json!({
            "after_h": point.at.as_hours(),
            "low_ph": point.low.value(),
            "value_ph": point.value.value(),
            "high_ph": point.high.value(),
        })).collect::<Vec<_>>(),
        "burst_check": plan.verdict.as_ref().map(|(verdict, reasons)| json!({
            "verdict": name(verdict),
            "reasons": reasons.iter().map(|reason| name(reason)).collect::<Vec<_>>(),
            "remedies": plan.remedies,
        })),
        "warnings": plan.warnings.iter().map(|warning| json!({
            "stage": warning.stage.key(),
            "level": match warning.level { Level::Note => "note", Level::Caution => "caution", Level::Stop => "stop" },
            "says": text(&warning.says),
        })).collect::<Vec<_>>(),
        "next_move": {
            "stage": next.stage.key(),
            "says": text(&next.says),
            "details": next.details.iter().map(text).collect::<Vec<_>>(),
        },
    })
}
