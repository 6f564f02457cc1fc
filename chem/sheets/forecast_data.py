"""The forecast as the JSON object of the contract."""

from __future__ import annotations

from chem.advice.reading import ReadPh
from chem.forecast import (
    ALWAYS,
    Forecast,
    SolidForecast,
)
from chem.notebook.tried import Told
from chem.reference.colloids import colloids
from chem.sheets.as_json import as_json
from chem.sheets.contract import tank as contract
from chem.sheets.contract.parts import ByTime, RangeEntry
from chem.sheets.notebook import learned_entries
from chem.sheets.reading import read_entry
from chem.sheets.rules import (
    because,
    evolved_entries,
    minds,
    rules_json,
)
from chem.sheets.salt import salt_entry
from chem.sheets.tank import load_entries, tank_entries
from chem.sheets.window import window_entry
from chem.units import (
    Units,
)


def forecast_json(
    result: Forecast,
    units: Units = "both",
    told: Told | None = None,
    read: ReadPh | None = None,
) -> str:
    """The JSON object of the contract, as text; told: what the notebook says of it; read: a pH
    read in the tank."""
    mix, adjuvant = result.mix, result.mix.adjuvant
    window = None
    if adjuvant is not None:
        limits = adjuvant.ph_low, adjuvant.ph_high
        window = contract.Window(suited=result.suited, window=limits)
    return as_json(
        contract.Forecast(
            mix=mix.name,
            answer=result.answer,
            chance=result.chance,
            judged_at=result.judged_at,
            because=because(result.because) if result.because else None,
            **rules_json(result.rules, mix, result.refused),
            probability=ByTime.of(result.probability),
            clogs=ByTime.of(result.clogs),
            ph=RangeEntry.of(result.ph),
            ph_aired=result.ph_aired,
            ph_settled=result.ph_settled,
            ionic_strength_mol_per_kg=result.ionic_strength_mol_per_kg,
            conductivity_mS_per_cm=RangeEntry.known(result.conductivity_mS_per_cm),
            salt=salt_entry(result.salt, mix, None if told is None else told.strongest),
            density_kg_per_L=result.density_kg_per_L,
            coverage=result.coverage,
            totals_mol_per_L=dict(result.totals_mol_per_L),
            solids=[_solid_entry(s) for s in result.solids],
            colloids=[
                contract.ColloidEntry(
                    key=c.key,
                    risk=c.risk,
                    because=colloids()[c.key].because,
                    after_s=c.after_s,
                )
                for c in result.colloids
            ],
            gases=evolved_entries(result.gases, mix),
            not_judged=result.not_judged,
            tank=[] if result.refused else tank_entries(result.loads[0], mix, units),
            loads=[] if result.refused else load_entries(result.loads, mix, units),
            spray_within_minutes=result.spray_within_minutes,
            alone=[
                contract.AloneEntry(
                    product=mix.additions[a.product].product.name,
                    answer=a.answer,
                    probability=a.chance,
                )
                for a in result.alone
            ],
            delivered_kg_per_ha=dict(result.delivered_kg_per_ha),
            adjuvant=window,
            adjuvants=[window_entry(w) for w in result.windows],
            read=None if read is None else read_entry(read, result),
            doubts=[
                contract.ForecastDoubt(
                    key=d.key,
                    share=d.share,
                    share_of_ph=d.of_ph,
                    share_of_odds=d.of_odds,
                    settle_by=d.settle_by,
                )
                for d in result.doubts
            ],
            cautions=[*minds(result.rules, mix), *ALWAYS],
            notes=result.notes,
            learned=learned_entries(told),
            draws=result.draws,
            seed=result.seed,
            failed_rows=result.failed_rows,
            versions=dict(result.versions),
        )
    )


def _solid_entry(solid: SolidForecast) -> contract.SolidEntry:
    return contract.SolidEntry(
        key=solid.key,
        formula=solid.formula,
        of_class=solid.kinetics,
        decides=solid.decides,
        si=RangeEntry.of(solid.si),
        probability=ByTime.of(solid.probability),
        clouds_after_s=RangeEntry.known(solid.clouds_after_s),
        amount_g_per_L=solid.amount_g_per_L,
    )
