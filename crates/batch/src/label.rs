//! Words for a label: what the plan knows of the beer, in the order a label has it.

use crate::document::{Batch, Step};
use crate::plan::{Figure, Plan};
use crate::say::{Sentence, say};
use calc::quantity::{Amount, Dimension};

/// The lines of a label. Local rules decide what it must say and how large.
pub fn label(batch: &Batch, plan: &Plan) -> Vec<Sentence> {
    let figure = |figure: Figure| figure.of(&plan.figures).ok().map(|shown| shown.value);
    let mut lines = vec![say![batch.name.clone(), "."]];
    if batch.invented {
        lines.push(say!["An invented example."]);
    }
    let fruit: Vec<String> = batch.fruit.iter().map(|addition| addition.called()).collect();
    let mut ingredients = vec!["Water".to_owned()];
    for line in &plan.malts {
        let name = line.class.data().name.to_ascii_lowercase();
        if line.mass.is_some_and(|mass| mass > calc::quantity::Mass::ZERO) && !ingredients.contains(&name) {
            ingredients.push(name);
        }
    }
    ingredients.extend(fruit.iter().cloned());
    if !batch.hops.is_empty() {
        ingredients.push("hops".to_owned());
    }
    ingredients.push("lactic acid bacteria".to_owned());
    ingredients.push("yeast".to_owned());
    lines.push(if fruit.is_empty() {
        say!["Sour beer."]
    } else {
        say!["Sour beer with ", fruit.join(", "), "."]
    });
    if let Some(alcohol) = figure(Figure::FruitedAlcohol) {
        lines.push(say![alcohol, " of alcohol."]);
    }
    lines.push(say!["Ingredients: ", ingredients.join(", "), "."]);
    let contains: Vec<&str> = plan.allergens.iter().map(|allergen| allergen.name()).collect();
    if !contains.is_empty() {
        lines.push(say!["Contains ", contains.join(", "), "."]);
    }
    if let (Some(energy), Some(glass)) =
        (figure(Figure::GlassEnergy), batch.value(crate::document::Field::Serving))
    {
        let glass: calc::quantity::Volume = glass;
        let share = 0.1 / glass.as_litres();
        lines.push(say![Amount::in_base(Dimension::Energy, energy.base() * share), " in 100 mL."]);
    }
    if let Some(at) = batch.ticked(Step::Packaged) {
        lines.push(say!["Packaged ", at, "."]);
    }
    lines.push(say!["Live yeast: keep it cold, open it slowly."]);
    lines
}
