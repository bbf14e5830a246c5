"""A small, invented catalogue in which no rule finds a fault. The examples are one-row edits of it."""

# ruff: noqa: E501

import csv
from collections.abc import Mapping
from functools import cache
from io import StringIO

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import TABLES, Row, from_cells
from app.rules.registry import RowEdit

CLEAN: dict[str, str] = {
    "makers": """id,name
example,Example
other,Other""",
    "sources": """id,maker,series,title,edition,published_on,kind
manual-a,example,Fork A manual,Fork A service manual,C,2024-05,manual
manual-a-first,example,Fork A manual,Fork A service manual (first),A,2022-02,manual
manual-other,other,Other manual,Other service manual,A,2022-02,manual
manual-old,example,Fork A old manual,Fork A service manual (old),B,2019-02,manual
bulletin-a,example,,Foot bolts of Fork A,1,2024-09,bulletin
bench-a,,,Workshop measurements of Fork A,,2024-11-03,measured""",
    "chassis": """id,maker,name,model_year_from,model_year_to,crowns,stanchion_diameter_mm,stanchion_bore_mm,wheel_sizes,"""
    """travel_min_mm,travel_max_mm,dampers,leg_free_volume_ml,source,page
fork-a,example,Fork A,2022,2025,single,35,32,584;622,140,160,damper-a,40,manual-a,3
fork-b,example,Fork B,2022,2025,single,35,32,584;622,140,160,,40,manual-a,3
fork-a-old,example,Fork A,2018,2021,single,35,,584;622,140,160,damper-a;damper-b,40,manual-old,3""",
    "variants": """id,chassis,name,model_code,serial_pattern,serial_from,serial_to,produced_from,produced_to,"""
    """model_year_from,model_year_to,springs,dampers
variant-a-pro,fork-a,Pro,AP,@##-####,A22-0001,A24-9999,2021-06,2024-05,2022,2024,spring-140;spring-150;spring-160,damper-a
variant-a-old,fork-a-old,Base,AB,,,,,,2018,2020,spring-150,damper-a""",
    "springs": """id,maker,family,name,part_number,kind,travel_set_by,negative,bore_mm,shaft_diameter_mm,end_volume_ml,"""
    """negative_volume_ml,port_travel_mm,geometry_basis,pressure_limit,pressure_unit,rate,rate_unit,stroke_max_mm,"""
    """preload_min_mm,preload_max_mm,superseded_by,source,page
spring-140,example,A air,A air 140,A-140,air,shaft length,port,32,10,61.1,18,4,stated,160,psi,,,145,,,,manual-a,5
spring-150,example,A air,A air 150,A-150,air,shaft length,port,32,10,53.1,18,4,stated,160,psi,,,155,,,,manual-a,5
spring-160,example,A air,A air 160,A-160,air,shaft length,port,32,10,45,18,4,stated,160,psi,,,165,,,,manual-a,5
spring-150-small,example,A fixed,A fixed 150,A-151,air,travel spacer,,32,,,,,,160,psi,,,155,,,,manual-a,5
spring-plain,example,,Plain air 150,P-150,air,,,,,,,,,,,,,,,,,manual-a,5
spring-coil,example,A coil,A coil,A-C,coil,travel spacer,coil,,,,,,,,,8.5,N/mm,165,0,10,,manual-a,6
spring-dual,example,,Dual air 150,D-150,air,shaft length,own valve,,,,,,,180,psi,,,155,,,,manual-a,5""",
    "chambers": """id,spring,chamber,valve,order,maximum,unit,relative_to,offset,factor_min,source,page
dual-positive,spring-dual,positive,own valve,2,150,psi,,,,manual-a,5
dual-second,spring-dual,second positive,own valve,3,180,psi,positive,,1.4,manual-a,5
dual-negative,spring-dual,negative,own valve,1,160,psi,positive,10,,manual-a,5""",
    "dampers": """id,maker,name,kind,adjuster_at,foot_joint,serviceable,rebound_clicks,compression_clicks,clicks_from,"""
    """travel_max_mm,source,page
damper-a,example,A damper,open bath,foot,bolt into shaft,here,16,8,closed,160,manual-a,7
damper-b,example,B damper,sealed cartridge,foot,bolt into shaft,no,12,6,closed,160,manual-old,7""",
    "spacers": """id,name,volume_ml,drives
spacer-a,A spacer,8.2,hex 8 mm
spacer-b,B spacer,6.0,hex 8 mm""",
    "parts": """id,maker,name,part_number,kind,pack_count,superseded_by
washer-a,example,Crush washer,W-1,crush washer,2,
washer-b,example,Crush washer (new),W-2,crush washer,2,
wiper-a,example,Wiper kit,K-1,dust wiper,2,
ring-a,example,Travel spacer 10,T-10,travel spacer,1,
ring-b,example,Travel spacer 10 (new),T-11,travel spacer,1,
guard-a,example,Long guard,G-1,guard,1,
guard-other,other,Other guard,G-2,guard,1,""",
    "fluids": """id,maker,name,kind,viscosity_40_cst,viscosity_100_cst,density_15_g_per_ml,nlgi,seal_safe,packs_ml
oil-damper,example,Damper oil 15,damper oil,15,3.5,0.86,,true,1000
oil-bath,example,Bath oil 100,bath oil,100,12,0.88,,true,120;1000
grease-a,example,Seal grease,grease,,,,2,true,30""",
    "tools": """id,name,drive
hex-5,Hex key 5 mm,hex 5 mm
hex-6,Hex key 6 mm,hex 6 mm
hex-8,Hex key 8 mm,hex 8 mm
cap-tool,Cap tool,cassette lockring""",
    "fasteners": """id,chassis,spring,position,side,count,kind,drives,thread,hand,property_class,standard,material,"""
    """counterpart_material,through_hole_mm,reuse,source,page,group
foot-spring,fork-a,,foot bolt,spring side,1,bolt,hex 5 mm,M8x1,right,,,steel,aluminium,,reuse,manual-a,9,foot bolts
foot-damper,fork-a,,foot bolt,damper side,1,bolt,hex 5 mm,M8x1,right,,,steel,aluminium,,reuse,manual-a,9,foot bolts
foot-spring-old,fork-a-old,,foot bolt,spring side,1,bolt,hex 5 mm,M8x1,right,,,steel,aluminium,,reuse,manual-old,9,
foot-damper-old,fork-a-old,,foot bolt,damper side,1,bolt,hex 5 mm,M8x1,right,,,steel,aluminium,,reuse,manual-old,9,
pinch-a,fork-a,,axle pinch bolt,damper side,1,bolt,hex 5 mm,M6,right,8.8,ISO 4762,steel,magnesium,,replace,manual-a,9,
cap-a,fork-a,,top cap,spring side,1,cap,cassette lockring,,right,,,aluminium,aluminium,,reuse,manual-a,9,""",
    "frames": """id,maker,name,size,model_year_from,model_year_to,travel_min_mm,travel_max_mm,axle_to_crown_mm,"""
    """head_angle_deg,source,page
frame-a,example,Frame A,M,2022,2025,140,160,545,65.5,manual-a,2""",
    "procedures": """id,job,name,chassis,source,page
lower-legs,lower-leg-service,Lower-leg service,,manual-a,20""",
    "steps": """id,procedure,order,action,text,fastener_position,chamber,place,part_kind,turns,when
step-0,lower-legs,0,empty,Let the air out.,,,,,,spring_kind=air
step-1,lower-legs,1,back-off,Back the foot bolts off {turns} turns.,foot bolt,,,,3-4,foot_joint=bolt into shaft
step-2,lower-legs,2,empty,Let the oil of the spring side run out.,,spring-side lower leg,,,,
step-3,lower-legs,3,grease,Grease the wipers with {grease}.,,,dust wiper,,,
step-4,lower-legs,4,fill,Fill in {volume}.,,spring-side lower leg,,,,
step-5,lower-legs,5,tighten,Tighten the foot bolts to {torque}.,foot bolt,,,,,""",
    "fits": """id,chassis,wheel_size,model_year_from,model_year_to,spring,travel_mm,travel_spacer,travel_spacers,axle_to_crown_mm,spacer,"""
    """spacer_limit,spacers_fitted,pressure_limit,pressure_unit,source,page
fit-140,fork-a,,,,spring-140,140,,,536,spacer-a,5,2,160,psi,manual-a,14
fit-150,fork-a,,,,spring-150,150,,,546,spacer-a,4,1,160,psi,manual-a,14
fit-160,fork-a,,,,spring-160,160,,,556,spacer-a,3,1,160,psi,manual-a,14
fit-150-large,fork-a,622,,,spring-150-small,150,,,,spacer-a,4,,,,manual-a,14
fit-coil,fork-a,,,,spring-coil,150,ring-a,1,546,,,,,,manual-a,14
fit-dual,fork-a,,,,spring-dual,150,,,546,spacer-a,4,1,160,psi,manual-a,14
fit-140-old,fork-a-old,,,,spring-140,140,,,,spacer-a,5,2,160,psi,manual-old,14
fit-150-old,fork-a-old,,,,spring-150,150,,,546,spacer-a,4,1,160,psi,manual-old,14
fit-160-old,fork-a-old,,,,spring-160,160,,,,spacer-a,3,1,160,psi,manual-old,14""",
    "torques": """id,chassis,model_year_from,model_year_to,damper,fastener,stage,value,min,max,unit,thread_prep,source,page,"""
    """confirmed,exception_to,order
torque-foot-spring,fork-a,,,,foot-spring,,7.0,6.5,7.5,N·m,oiled,manual-a,16,,,1
torque-foot-damper,fork-a,,,,foot-damper,,7.0,6.5,7.5,N·m,oiled,manual-a,16,,,2
torque-foot-damper-2024,fork-a,2024,2025,,foot-damper,,8.0,,,N·m,oiled,bulletin-a,1,,torque-foot-damper,
torque-foot-spring-old,fork-a-old,,,,foot-spring-old,,6.8,,,N·m,oiled,manual-old,16,,,
torque-foot-damper-old,fork-a-old,,,,foot-damper-old,,6.8,,,N·m,oiled,manual-old,16,,,
torque-pinch,fork-a,,,,pinch-a,,6.0,,,N·m,dry,manual-a,16,,,
torque-cap,fork-a,,,,cap-a,,25,,,N·m,greased,manual-a,16,,,""",
    "fills": """id,chassis,spring,damper,chamber,fluid,value,min,max,unit,level_mm,level_min_mm,level_max_mm,source,page
fill-spring-leg,fork-a,,,spring-side lower leg,oil-bath,10,8,12,mL,,,,manual-a,15
fill-damper-leg,fork-a,,,damper-side lower leg,oil-bath,10,8,12,mL,,,,manual-a,15
fill-damper,fork-a,,damper-a,damper,oil-damper,,,,,95,93,97,manual-a,15
fill-spring-leg-old,fork-a-old,,,spring-side lower leg,oil-bath,10,,,mL,,,,manual-old,15
fill-spring-leg-b,fork-b,,,spring-side lower leg,oil-bath,10,,,mL,,,,manual-a,15
fill-damper-leg-old,fork-a-old,,,damper-side lower leg,oil-bath,10,,,mL,,,,manual-old,15""",
    "greases": """id,chassis,place,fluid,extent_mm,amount,source,page
grease-wiper,fork-a,dust wiper,grease-a,,a thin film,manual-a,15
grease-bore,fork-a,stanchion bore,grease-a,120,,manual-a,15""",
    "uses": """id,chassis,job,part,position,count,when,source,page
use-washer,fork-a,lower-leg-service,washer-a,foot bolt,2,always,manual-a,18
use-wiper,fork-a,full-service,wiper-a,,1,always,manual-a,18
use-pinch,fork-a,full-service,washer-b,axle pinch bolt,1,always,manual-a,18""",
    "limits": """id,chassis,wheel_size,subject,min,max,unit,method,source,page
limit-rotor,fork-a,,rotor diameter,160,203,mm,,manual-a,4
limit-tyre-622,fork-a,622,tyre width,,65,mm,,manual-a,4
limit-tyre-584,fork-a,584,tyre width,,70,mm,,manual-a,4
limit-rider,fork-a,,rider mass,,120,kg,,manual-a,4""",
    "intervals": """id,chassis,operation,hours,months,riding,source,page
interval-legs,fork-a,lower-leg-service,50,,,manual-a,19
interval-full,fork-a,full-service,200,12,,manual-a,19""",
    "guides": """id,chassis,spring,damper,travel_from_mm,travel_to_mm,chamber,rider_mass_from,rider_mass_to,mass_unit,mass_is,"""
    """pressure,pressure_min,pressure_max,pressure_unit,sag_percent,spring_choice,rebound_clicks,compression_clicks,source,page
guide-60,fork-a,spring-150,damper-a,,,positive,60,70,kg,with gear,62,58,66,psi,20,,10,6,manual-a,12
guide-70,fork-a,spring-150,damper-a,,,positive,70,80,kg,with gear,71,67,75,psi,20,,8,5,manual-a,12
guide-80,fork-a,spring-150,damper-a,,,positive,80,90,kg,with gear,80,76,84,psi,20,,6,4,manual-a,12
guide-90,fork-a,spring-150,damper-a,,,positive,90,100,kg,with gear,89,85,93,psi,20,,4,3,manual-a,12
guide-dual,fork-a,spring-dual,damper-a,,,positive,70,80,kg,with gear,80,,,psi,20,,8,5,manual-a,12
guide-coil,fork-a,spring-coil,,,,coil,70,80,kg,with gear,,,,,20,spring-coil,8,5,manual-a,12""",
    "adjustments": """id,chassis,target,condition,value,unit,source,page
adjustment-e-bike,fork-a,pressure,e-bike,8,psi,manual-a,12
adjustment-cold,fork-a,rebound clicks,cold,-1,,manual-a,12""",
    "readings": """id,chassis,spring,spacers,state,at_travel_mm,pressure,pressure_unit,rider_mass,mass_unit,temperature_c,source
reading-sag,fork-a,spring-150,1,at sag,30,72,psi,75,kg,20,bench-a
reading-full,fork-a,spring-150,1,full travel,150,195,psi,,,20,bench-a""",
}


@cache
def clean_rows() -> Mapping[tuple[str, str], Row]:
    """The rows by table and id."""
    rows: dict[tuple[str, str], Row] = {}
    for name, text in CLEAN.items():
        table = TABLES[name]
        for cells in csv.DictReader(StringIO(text)):
            row = table.checked(from_cells(table, cells))
            rows[name, row.id] = row
    return rows


def clean_catalogue() -> MemoryRows:
    """The clean catalogue."""
    return MemoryRows(clean_rows().values())


def edited(change: RowEdit) -> Row:
    """The row that an example writes. Raises pydantic's error if its cells make no valid row."""
    table = TABLES[change.table]
    present = clean_rows().get((change.table, change.id))
    cells = {"id": change.id} if present is None else present.cells()
    return table.checked(from_cells(table, {**cells, **change.cells}))


def with_edit(change: RowEdit) -> MemoryRows:
    """The clean catalogue with one example applied."""
    row = edited(change)
    return MemoryRows({**clean_rows(), (change.table, row.id): row}.values())
