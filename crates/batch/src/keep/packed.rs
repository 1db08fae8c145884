//! Packing: in the browser's store the names of a batch's fields stand as one
//! character each. That halves a stored batch, and a thousand must fit.
//!
//! JSON has nothing but ASCII outside its strings, so there any other character
//! can stand for a name, and nothing a person typed can be mistaken for one.
//! What is not packed reads the same: unpacking plain JSON changes nothing.
//! The keepsake is never packed.

/// The names, each standing for the character at its place from [`FIRST`] on.
/// Stored texts depend on this order for ever: add at the end only, and only
/// when [`super::SCHEMA`] is raised, so that an older version sees a schema it
/// does not know and not a name it cannot read.
const NAMES: &[&str] = &[
    "schema",
    "app",
    "revision",
    "saved_s",
    "deleted_s",
    "data",
    "id",
    "name",
    "invented",
    "begun_s",
    "notes",
    "choices",
    "numbers",
    "grist",
    "hops",
    "fruit",
    "house",
    "readings",
    "ticks",
    "finish",
    "salts",
    "own_salts",
    "grist_by",
    "acid",
    "culture",
    "package",
    "gas",
    "salt",
    "class",
    "form",
    "preserved",
    "gypsum",
    "calcium_chloride_dihydrate",
    "epsom",
    "table_salt",
    "baking_soda",
    "lactic",
    "l_plantarum",
    "shares",
    "weights",
    "cylinder",
    "priming_sucrose",
    "priming_glucose",
    "batch_volume_l",
    "wanted_gravity_plato",
    "kettle_volume_l",
    "fermenter_volume_l",
    "heating_power_kw",
    "altitude_m",
    "efficiency",
    "absorption_l_per_kg",
    "evaporation_l_per_h",
    "kettle_loss_l",
    "fermenter_loss_l",
    "scale_step_g",
    "fermenter_pressure_limit_kpa",
    "calcium_mg_per_l",
    "magnesium_mg_per_l",
    "sodium_mg_per_l",
    "chloride_mg_per_l",
    "sulfate_mg_per_l",
    "alkalinity_meq_per_l",
    "water_ph",
    "distilled_share",
    "rinse_water_l",
    "grain_temperature_c",
    "mash_temperature_c",
    "mash_time_min",
    "mash_out_c",
    "mash_ph_wanted",
    "acid_strength",
    "sanitising_boil_min",
    "starter_wort_l",
    "drop_ph_wanted",
    "meter_error_ph",
    "sour_temperature_c",
    "sour_ph_wanted",
    "bacteria_million_per_ml",
    "main_boil_min",
    "wanted_bitterness_ibu",
    "attenuation",
    "ferment_temperature_c",
    "ferment_pressure_kpa",
    "pitch_million_per_ml_plato",
    "carbonation_vol",
    "serving_temperature_c",
    "warmest_storage_c",
    "package_headspace",
    "package_pressure_limit_kpa",
    "stable_gravity_min",
    "mass_g",
    "share",
    "extract",
    "moisture",
    "distilled_mash_ph",
    "buffering_meq_per_kg_ph",
    "alpha",
    "boil_min",
    "brix",
    "ph",
    "acid_as_citric",
    "mash_acid_l",
    "mash_ph",
    "pre_boil_volume_l",
    "pre_boil_gravity_plato",
    "drop_acid_l",
    "wort_ph",
    "sour_ph",
    "sour_acidity_g_per_l_lactic",
    "post_boil_volume_l",
    "original_gravity_plato",
    "gravity_plato",
    "beer_ph",
    "packaged_volume_l",
    "mash_in",
    "mash_acid",
    "mash_out",
    "first_boil",
    "set_aside",
    "cooled",
    "acid_drop",
    "soured",
    "main_boil",
    "chilled",
    "yeast",
    "past_peak",
    "fruit_in",
    "stable",
    "packaged",
    "evaporation",
    "absorption",
    "kettle_loss",
    "mash_ph_shift",
    "wort_buffering",
    "souring_speed",
    "refractometer_factor",
    "pre_boil_brix",
    "waters",
    "upper",
    "own_finish",
    "potassium_mg_per_l",
    "nitrate_mg_per_l",
    "hardness_meq_per_l",
    "conductivity_us_per_cm",
    "dissolved_solids_mg_per_l",
    "chlorine_mg_per_l",
    "locked_g",
    "most_g",
    "purity",
    "density_kg_per_m3",
    "tested_g",
    "first_acid_l",
    "first_ph",
    "second_acid_l",
    "second_ph",
    "mash_base_g",
    "rinse_ph_wanted",
    "drops_per_ml",
    "sample_l",
    "sour_acidity_wanted_g_per_l_lactic",
    "pack_amount",
    "pack_cells_billion",
    "pack_age_min",
    "pack_kept_c",
    "manganese_stock_mg_per_l",
    "kill_hold_c",
    "trial_glass_l",
    "trial_acid_l",
    "trial_part_l",
    "sample",
    "acid_l",
    "barometer_kpa",
    "kettle_weight_g",
    "basket_grain_g",
    "room_c",
    "tap_water_c",
    "cooling_flow_l_per_h",
    "chiller_flow_l_per_h",
    "chiller_effectiveness",
    "plate_effectiveness",
    "stand_min",
    "iso_alpha_kept",
    "yeast_cells_billion",
    "yeast_age_min",
    "yeast_kept_c",
    "starter_yeast",
    "oxygen_mg_per_l",
    "oxygen_flow_l_per_h",
    "ferment_room_l",
    "second_vessel_l",
    "fruit_load_wanted_mg_per_l",
    "fruit_alcohol_wanted",
    "fruited_ph_wanted",
    "package_volume_l",
    "serving_l",
    "other_cost",
    "age_min",
    "kept_c",
    "price_per_kg",
    "temperature_c",
    "time_min",
    "mash_gravity_plato",
    "chill_time_min",
    "rests",
    "infusion",
    "own",
    "time",
    "place",
    "chiller",
    "fruit_yield",
    "sourness",
    "body",
    "fruitiness",
    "cleanness",
    "at_s",
    "from_s",
    "until_s",
    "heard",
    "note",
    "skips",
    "timers",
    "tastings",
    "from",
    "fermenter_loss",
];

/// The character of the first name: the first printable one behind ASCII.
const FIRST: u32 = 0xa1;

/// Compact JSON with the known names as one character each.
pub fn pack(json: &str) -> String {
    rewrite(json, |out, token| match NAMES.iter().zip(FIRST..).find(|(name, _)| **name == token) {
        Some((_, place)) => out.extend(char::from_u32(place)),
        None => quote(out, token),
    })
}

/// The JSON that was packed, to read. A character that stands for no name known
/// here becomes `"?"`, which no document has.
pub fn unpack(text: &str) -> String {
    rewrite(text, quote)
}

/// The JSON that was packed, to write elsewhere; nothing when a newer version
/// packed it with names that are not known here.
pub(super) fn unpack_whole(text: &str) -> Option<String> {
    let plain = unpack(text);
    // What was packed as this is packed the same again, unless a name got lost.
    (plain == text || pack(&plain) == text).then_some(plain)
}

fn quote(out: &mut String, token: &str) {
    out.push('"');
    out.push_str(token);
    out.push('"');
}

/// Copies the text, with `string` writing each of its strings (given without
/// the quotes, escapes as they are) and each packed name written out.
fn rewrite(text: &str, string: impl Fn(&mut String, &str)) -> String {
    let mut out = String::with_capacity(text.len() * 2);
    let mut rest = text;
    while let Some(next) = rest.chars().next() {
        let after = &rest[next.len_utf8()..];
        rest = after;
        match next {
            '"' => match end_of_string(after) {
                Some(end) => {
                    string(&mut out, &after[..end]);
                    rest = &after[end + 1..];
                }
                // A string that never ends: a text that was cut short. The reader will say so.
                None => {
                    out.push('"');
                    out.push_str(after);
                    rest = "";
                }
            },
            next if u32::from(next) >= FIRST => {
                let place = (u32::from(next) - FIRST) as usize;
                match NAMES.get(place) {
                    Some(name) => quote(&mut out, name),
                    None => quote(&mut out, "?"),
                }
            }
            next => out.push(next),
        }
    }
    out
}

/// Where the quote is that ends the string.
fn end_of_string(text: &str) -> Option<usize> {
    let mut escaped = false;
    text.bytes().position(|byte| {
        let ends = byte == b'"' && !escaped;
        escaped = byte == b'\\' && !escaped;
        ends
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{
        Field, FruitField, HopField, MaltField, ReadingKind, RestField, SaltField, SampleField, TasteField,
        WaterField,
    };
    use crate::keep::encode;
    use crate::testing::any_envelope;
    use proptest::prelude::*;

    #[test]
    fn names_are_distinct_and_every_field_has_one() {
        for (place, name) in NAMES.iter().enumerate() {
            assert_eq!(NAMES.iter().position(|other| other == name), Some(place), "{name} twice");
        }
        let keys = Field::ALL.iter().map(|field| field.spec().key);
        let keys = keys.chain(MaltField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(WaterField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(SaltField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(SampleField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(RestField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(HopField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(FruitField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(TasteField::ALL.iter().map(|field| field.spec().key));
        let keys = keys.chain(ReadingKind::ALL.iter().map(|kind| kind.spec().key));
        let missing: Vec<&str> = keys.filter(|key| !NAMES.contains(key)).collect();
        assert!(missing.is_empty(), "{missing:?}");
    }

    #[test]
    fn a_packed_text_is_what_it_was_for_ever() {
        let json = r#"{"schema":1,"data":{"name":"a \"name\" – “é”","ticks":{"packaged":3},"grist":[]}}"#;
        let packed = "{¡:1,¦:{¨:\"a \\\"name\\\" – “é”\",³:{ġ:3},®:[]}}";
        assert_eq!(pack(json), packed);
        assert_eq!(unpack(packed), json);
        assert_eq!(unpack("{\u{fff0}:1}"), r#"{"?":1}"#);
        assert_eq!(unpack_whole("{\u{fff0}:1}"), None);
        assert_eq!(unpack_whole(packed).as_deref(), Some(json));
    }

    proptest! {
        #[test]
        fn packing_is_undone_by_unpacking(envelope in any_envelope()) {
            let json = encode(&envelope).unwrap();
            let packed = pack(&json);
            prop_assert!(packed.chars().count() < json.chars().count());
            prop_assert_eq!(unpack(&packed), json.as_str());
            prop_assert_eq!(unpack(&json), json);
        }

        #[test]
        fn no_text_brings_it_down(text in "[\"\\\\{é:¡]{0,30}") {
            let _ = pack(&text);
            let _ = unpack(&text);
        }
    }
}
