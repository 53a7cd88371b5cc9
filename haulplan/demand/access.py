"""stub"""


def access_use(scenario, supply, aboard):
    return (
        (supply.access_time or 0.0) + supply.turning_time,
        supply.access_water or 0.0,
        supply.access_coal or 0.0,
    )
