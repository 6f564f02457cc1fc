"""The pH adjustment as the JSON object of the contract."""

from __future__ import annotations

from chem.advice.ph import Adjustment
from chem.advice.suited import Suited
from chem.notebook.tried import Told
from chem.sheets.as_json import as_json
from chem.sheets.contract import advice as contract
from chem.sheets.contract.parts import Between, RangeEntry
from chem.sheets.notebook import learned_entries
from chem.sheets.ph import UNSUITED, cautions, dose_text, doses, unreached
from chem.sheets.rules import (
    evolved_entries,
    rules_json,
)
from chem.units import (
    Units,
)


def ph_json(result: Adjustment, units: Units = "both", told: Told | None = None) -> str:
    """The JSON object of the contract, with additions."""
    density = result.density_kg_per_L
    dose = result.dose_g_per_L
    reached = dose is not None
    low, high = result.dose_range_g_per_L
    suited, copper = result.suited, result.copper_free
    return as_json(
        contract.Ph(
            learned=learned_entries(told),
            mix=result.mix.name,
            agent=result.reagent.name,
            form=result.reagent.form,
            target_ph=result.target,
            already=result.already,
            dose_g_per_L=dose,
            dose_range_g_per_L=Between(p05=low, p95=high),
            dose_mL_per_L=None if density is None or dose is None else dose / density,
            dose_text=dose_text(result, units),
            doses=doses(result, units),
            density_kg_per_L=density,
            density_source=result.reagent.density_source,
            reached=reached,
            because=unreached(result) if result.unreached else None,
            tried_g_per_L=result.tried_g_per_L,
            ph_before=RangeEntry.of(result.ph_before),
            ph_after=RangeEntry.of(result.ph_after),
            ph_settled=result.ph_settled,
            answer_before=result.answer_before,
            answer_after=result.answer_after.word if reached else None,
            chance_after=result.answer_after.chance if reached else None,
            judged_at=result.judged_at,
            curve=result.curve,
            ph_per_g_per_L=contract.Slopes(start=result.slope_start, target=result.slope_target),
            makes=[
                contract.MadeEntry(
                    key=s.key, before=s.before, after=s.after, of_the_agent=s.of_the_agent
                )
                for s in result.made
            ],
            suited=None if suited is None else suited.at_once,
            adjuvant=None if suited is None else _suited_entry(suited),
            copper_free=None
            if copper is None
            else contract.FreeCopper(before=copper[0], after=copper[1]),
            gases=evolved_entries(result.gases, result.dosed),
            **rules_json(result.rules, result.ruled, result.refused),
            adds_kg_per_ha=dict(result.adds_kg_per_ha) if reached else {},
            poured_as=result.place + 1,
            cautions=cautions(result),
            draws=result.draws,
            seed=result.seed,
        )
    )


def _suited_entry(suited: Suited) -> contract.SuitedEntry:
    return contract.SuitedEntry(
        window=suited.window,
        suited_before=suited.before,
        suited_before_settled=suited.before_settled,
        suited_settled=suited.settled,
        likely_dose_g_per_L=suited.likely_dose_g_per_L,
        suited_at_likely=suited.at_likely,
        suited_settled_at_likely=suited.settled_at_likely,
        because=UNSUITED[suited.cause] if suited.cause else None,
    )
