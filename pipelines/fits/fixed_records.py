"""The same few records for ever, in the columns of the views: at them models are compared.

No dog and no person stands behind them; letters stand for names. Every method, route and outcome,
every way of reading and every kind of gap is there once, so that whatever a model does shows. They
are never edited: what a model comes to read besides is added as a column, and its number rises.
"""

from __future__ import annotations

from io import StringIO

import pandas as pd

_BREEDINGS = """
breeding_id,bitch,stud,breed,adult_weight_kg,semen_type,route,n_inseminations,bred_earliest,clinic,pregnant,whelped,n_litters_before,n_born_alive,n_stillborn,n_alive_8_weeks,bitch_age_years,stud_age_years,missed_before,inbreeding_pct,litter_inbreeding_pct,normal_morphology_pct,is_sire_certain
1,a,s,x,3.5,natural,natural,2,2020-02-03,,True,True,0,3,0,3,2.5,3.0,False,,,85,True
2,b,s,x,8.0,fresh,vaginal,2,2020-05-07,k,True,True,1,5,1,4,4.5,3.2,False,6.25,12.5,62,True
3,c,t,y,30.0,chilled,vaginal,1,2020-09-11,k,False,False,,,,,6.2,9.5,True,,,55,True
4,d,t,y,,chilled,transcervical,2,2021-01-15,l,,True,2,7,,6,5.5,9.9,False,,3.1,,True
5,e,u,z,50.0,frozen,surgical,1,2021-04-20,l,True,False,,,,,3.1,,False,,,71,True
6,f,u,z,60.0,frozen,vaginal,1,2021-08-01,,False,,,,,,,6.0,True,,,68,True
7,b,u,x,8.0,frozen,transcervical,2,2021-10-09,k,True,True,1,2,2,,5.9,6.1,False,6.25,,74,True
8,c,s,y,30.0,fresh,transcervical,1,2022-03-02,k,,,,,,,7.7,5.0,False,,,,True
9,e,t,z,50.0,natural,natural,1,2022-06-05,,,True,0,9,1,8,4.2,11.0,False,,,79,True
10,a,t,x,3.5,chilled,vaginal,1,2022-09-09,l,,True,1,1,0,0,5.1,11.2,False,,,79,False
"""

_INSEMINATIONS = """
insemination_id,breeding_id,cycle_id,n_in_breeding,inseminated_earliest,inseminated_latest,motile_dose_m,collected_earliest,collected_latest,semen_type,motility_read,progressive_motility_pct,n_motility_evaluated,motility_read_hours,dose_volume_ml,extender,is_dose_packed,n_days_late
1,1,1,1,2020-02-03 00:00,2020-02-04 00:00,,,,natural,,,,,,,False,
2,1,1,2,2020-02-05 09:00,2020-02-05 09:00,,,,natural,,,,,,,False,
3,2,2,1,2020-05-07 10:00,2020-05-07 10:00,310,2020-05-07 09:30,2020-05-07 09:30,fresh,raw,75,,,3.5,,False,
4,2,2,2,2020-05-09 10:00,2020-05-09 11:00,150,2020-05-09 09:30,2020-05-09 09:30,fresh,raw,58,200,,,,False,
5,3,3,1,2020-09-11 17:00,2020-09-11 17:00,45,2020-09-09 08:00,2020-09-09 08:00,chilled,on arrival,35,,57,3,egg yolk,False,1
6,4,4,1,2021-01-15 00:00,2021-01-16 00:00,95,2021-01-13 00:00,2021-01-14 00:00,chilled,retained,55,100,48,2.5,milk,True,0
7,4,4,2,2021-01-17 12:00,2021-01-17 12:00,60,2021-01-13 00:00,2021-01-14 00:00,chilled,,,,,,,False,
8,5,5,1,2021-04-20 13:00,2021-04-20 13:00,140,,,frozen,after thaw,50,,,,,False,
9,6,6,1,2021-08-01 08:00,2021-08-01 08:00,,,,frozen,,,,,,,False,
10,7,7,1,2021-10-09 11:00,2021-10-09 11:00,75,,,frozen,after thaw,30,,,,,False,
11,7,7,2,2021-10-10 11:00,2021-10-10 11:00,75,,,frozen,after thaw,30,,,,,False,
12,8,8,1,2022-03-02 11:00,2022-03-02 11:00,0,2022-03-02 10:30,2022-03-02 10:30,fresh,raw,70,,,,,False,
13,9,9,1,2022-06-05 00:00,2022-06-06 00:00,,,,natural,,,,,,,False,
14,10,10,1,2022-09-09 12:00,2022-09-09 12:00,200,2022-09-06 12:00,2022-09-06 12:00,chilled,raw,80,,,4,cream,True,
"""  # noqa: E501

_CYCLES = """
cycle_id,first_day,lh_surge_on
1,2020-01-24,
2,2020-04-27,
3,2020-08-30,2020-09-08
4,2021-01-02,
5,2021-04-06,
6,2021-07-20,
7,2021-09-25,
8,2022-02-18,2022-02-27
9,2022-05-25,
10,2022-08-27,
"""

_PROGESTERONE = """
cycle_id,sampled_earliest,sampled_latest,progesterone_ng_per_ml_low,progesterone_ng_per_ml_high,laboratory
2,2020-05-02 08:00,2020-05-02 08:00,0.85,0.95,v
2,2020-05-04 08:00,2020-05-04 08:00,2.35,2.45,v
2,2020-05-06 08:00,2020-05-06 09:00,6.15,6.25,v
4,2021-01-11 00:00,2021-01-12 00:00,4.8,5.2,w
5,2021-04-14 10:00,2021-04-14 10:00,1.4,1.6,
5,2021-04-16 10:00,2021-04-16 10:00,5.05,5.15,w
5,2021-04-18 10:00,2021-04-18 10:00,20.0,inf,w
7,2021-10-04 10:00,2021-10-04 10:00,2.9,3.1,v
7,2021-10-08 10:00,2021-10-08 10:00,14.5,15.5,v
"""

# A raw sample each, by its ways of counting and of judging motility and shape.
_RAW = """
stud,collected_earliest,collected_latest,evaluator,count_method,motility_method,volume_ml,concentration_m_per_ml,concentration_m_per_ml_low,concentration_m_per_ml_high,n_cells_counted,total_motility_pct,progressive_motility_pct,progressive_motility_pct_low,progressive_motility_pct_high,n_motility_evaluated,normal_morphology_pct,n_morphology_evaluated,sexual_rest_days,stud_age_years
s,2019-03-01 09:00,2019-03-01 09:00,i,chamber,by eye,2.5,310,310,310,248,82,75,72.5,77.5,,81,,,6.4
s,2019-03-04 09:00,2019-03-04 09:00,i,chamber,counted,2.0,290,290,290,232,,71,71,71,200,,,3,6.4
s,2019-08-12 00:00,2019-08-13 00:00,j,photometer,by eye,1.5,420,420,420,,85,,,,,,,161,6.9
s,2020-04-20 09:00,2020-04-20 09:00,j,chamber,by eye,2.2,150,150,150,120,,58,55,60,,66,200,252,7.5
s,2020-05-22 09:00,2020-05-22 09:00,i,chamber,counted,1.8,10,10,10,8,,12,12,12,100,,,32,7.6
t,2019-06-02 09:00,2019-06-02 09:00,i,chamber,by eye,3.0,260,260,260,208,,80,80,80,,,,,8.1
t,2019-06-03 09:00,2019-06-03 09:00,i,chamber,by eye,2.1,180,180,180,144,,78,77.5,82.5,,,,1,8.1
t,2019-12-10 09:00,2019-12-10 09:00,,,,2.0,,400,,,90,,,,,,,190,8.6
t,2020-07-15 09:00,2020-07-15 09:00,j,chamber,by eye,2.4,0,0,0,0,,,,,,,,218,9.2
u,2020-01-08 09:00,2020-01-08 09:00,j,chamber,by eye,1.9,350,350,350,280,,88,88,88,,,,,
"""

_STORED = """
evaluation_id,collection_id,shipment_id,stud,collected_earliest,collected_latest,stage,evaluated_earliest,evaluated_latest,evaluator,motility_method,progressive_motility_pct,progressive_motility_pct_low,progressive_motility_pct_high,n_motility_evaluated,minutes_at_37,extender
101,51,,s,2020-11-02 09:00,2020-11-02 09:00,extended,2020-11-02 09:00,2020-11-02 09:00,i,by eye,75,72.5,77.5,,,Egg yolk
102,51,,s,2020-11-02 09:00,2020-11-02 09:00,retained,2020-11-03 09:30,2020-11-03 09:30,i,by eye,65,65,65,,5,Egg yolk
103,51,1,s,2020-11-02 09:00,2020-11-02 09:00,on arrival,2020-11-04 00:00,2020-11-05 00:00,,counted,50,50,50,200,,Egg yolk
104,52,,t,2020-12-05 09:00,2020-12-05 10:00,extended,2020-12-05 09:30,2020-12-05 09:30,j,counted,80,80,80,100,,milk
105,52,,t,2020-12-05 09:00,2020-12-05 10:00,retained,2020-12-07 10:00,2020-12-07 10:00,j,counted,40,40,40,,0.5,milk
106,53,,u,2021-02-01 08:00,2021-02-01 08:00,retained,2021-02-02 08:00,2021-02-02 08:00,i,by eye,55,50,60,,,cream
107,54,,s,2021-03-01 08:00,2021-03-01 08:00,retained,2021-03-01 20:00,2021-03-01 20:00,i,by eye,60,60,60,,3,none
108,,2,u,2021-05-03 00:00,2021-05-04 00:00,on arrival,2021-05-05 12:00,2021-05-05 12:00,,by eye,45,45,45,,2,
"""  # noqa: E501

_SHIPMENTS = """
shipment_id,clinic
1,k
2,
"""

_EVENTS = """
event_id,dog,kind,started_on,drug_class
1,s,fever,2020-03-10,
2,s,drug,2020-03-15,antibiotic
3,t,fever,2019-11-20,
"""

_MOMENTS = {
    "bred_earliest", "inseminated_earliest", "inseminated_latest", "collected_earliest",
    "collected_latest", "first_day", "lh_surge_on", "sampled_earliest", "sampled_latest",
    "evaluated_earliest", "evaluated_latest", "started_on",
}  # fmt: skip


class FixedRecords:
    """Views of the fixed records, read as those of a records file are."""

    def read(self, view: str) -> pd.DataFrame:
        """Read a view whole.

        Parameters
        ----------
        view
            One that a model reads.
        """
        return _evaluations() if view == "evaluations" else _table(_VIEWS[view])


_VIEWS = {
    "breedings": _BREEDINGS,
    "inseminated_semen": _INSEMINATIONS,
    "cycles": _CYCLES,
    "progesterone": _PROGESTERONE,
    "shipments": _SHIPMENTS,
    "events": _EVENTS,
}


def _table(text: str) -> pd.DataFrame:
    found = pd.read_csv(StringIO(text.strip()))
    moments = [column for column in found if column in _MOMENTS]
    return found.assign(**{column: pd.to_datetime(found[column]) for column in moments})


def _evaluations() -> pd.DataFrame:
    """Raw samples, stored ones, and shapes of so many studs that two spreads are drawn together."""
    raw = _table(_RAW)
    many = pd.DataFrame(
        [
            (f"m{k % 20:02d}", pd.Timestamp("2018-02-01 10:00") + pd.Timedelta(days=17 * k),
             60.0 + (7 * k) % 31, 100 + 50 * (k % 3), 2.0 + (k * 1.3) % 9.0)
            for k in range(24)
        ],
        columns=["stud", "collected_earliest", "normal_morphology_pct", "n_morphology_evaluated",
                 "stud_age_years"],
    ).assign(collected_latest=lambda rows: rows["collected_earliest"], evaluator="i")  # fmt: skip
    rows = pd.concat([raw.assign(stage="raw"), many.assign(stage="raw")], ignore_index=True)
    rows["evaluation_id"] = rows["collection_id"] = range(1, len(rows) + 1)
    found = pd.concat([rows, _table(_STORED)], ignore_index=True)
    return found.assign(failed_reason=None, appearance=None)
