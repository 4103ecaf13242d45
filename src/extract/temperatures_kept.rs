//! Temperatures that are done, as figures of a run under way: a resumed run takes them over.

use crate::case::VerdictSpec;
use crate::experiment::{Found, Sheet, Shown};

use super::temperatures::At;
use super::verdict::{Answer, Verdict};

const HOLDING: (&str, &str, &str) = ("holding_V", "V", "lowest holding voltage");
const TRIGGER: (&str, &str, &str) = ("trigger_V", "V", "lowest trigger voltage");
const CRITICAL: (&str, &str, &str) = ("critical_A_per_um", "A/um", "smallest critical injection");

impl At {
    /// All that the joined verdict needs of it.
    pub(super) fn sheet(&self) -> Sheet {
        let sheet = trace_sheet(self.temperature, &self.holding)
            .text("answer", "at this temperature", self.verdict.answer.word())
            .texts("reasons", "of the answer", &self.verdict.reasons)
            .group("more", "beside the answer", self.verdict.more.clone());
        [(TRIGGER, &self.trigger), (CRITICAL, &self.critical)].into_iter().fold(
            sheet,
            |sheet, ((name, unit, meaning), found)| {
                sheet.number(name, unit, meaning, found.clone())
            },
        )
    }

    /// From its sheet; `None` if that is of another temperature or of a trace alone.
    pub(super) fn of_sheet(sheet: &Sheet, spec: VerdictSpec, temperature: f64) -> Option<At> {
        let value = |name: &str| sheet.find(name).map(|f| &f.value);
        let holding = traced_at(sheet, temperature)?;
        let (Shown::Text(answer), Shown::Texts(reasons), Shown::Group(more)) =
            (value("answer")?, value("reasons")?, value("more")?)
        else {
            return None;
        };
        let verdict = Verdict {
            answer: Answer::from_word(answer)?,
            supply: spec.supply,
            margin: spec.margin,
            reasons: reasons.clone(),
            more: more.clone(),
        };
        let (trigger, critical) = (found(sheet, TRIGGER.0)?, found(sheet, CRITICAL.0)?);
        Some(At { temperature, verdict, holding, trigger, critical })
    }
}

fn found(sheet: &Sheet, name: &str) -> Option<Found<f64>> {
    match &sheet.find(name)?.value {
        Shown::Number(found) => Some(found.clone()),
        _ => None,
    }
}

/// A temperature of which the holding voltage alone was traced.
pub(super) fn trace_sheet(temperature: f64, holding: &Found<f64>) -> Sheet {
    let (name, unit, meaning) = HOLDING;
    Sheet::new().number("temperature_K", "K", "of this entry", Ok(temperature)).number(
        name,
        unit,
        meaning,
        holding.clone(),
    )
}

/// The holding voltage of a sheet of just this temperature.
pub(super) fn traced_at(sheet: &Sheet, temperature: f64) -> Option<Found<f64>> {
    let own = sheet.number_at("temperature_K")?.to_bits() == temperature.to_bits();
    own.then(|| found(sheet, HOLDING.0))?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_comes_back_as_it_was() {
        let spec = VerdictSpec { supply: 3.3, margin: 0.1, supply_current: None };
        let verdict = Verdict::of(spec, 10.0, &[]);
        let at = At {
            temperature: 398.15,
            verdict,
            holding: Ok(1.05),
            trigger: Err("no trigger point".to_string()),
            critical: Ok(3e-4),
        };
        assert_eq!(At::of_sheet(&at.sheet(), spec, 398.15), Some(at.clone()));
        assert_eq!(At::of_sheet(&at.sheet(), spec, 398.0), None);
        let traced = trace_sheet(300.0, &Ok(1.2));
        assert_eq!(At::of_sheet(&traced, spec, 300.0), None);
        assert_eq!(traced_at(&traced, 300.0), Some(Ok(1.2)));
        assert_eq!(traced_at(&traced, 300.5), None);
    }
}
