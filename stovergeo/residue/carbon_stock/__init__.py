"""The stock of soil carbon: two open models of it, and what a harvest costs it in twenty years.

Pure functions on arrays, which no step of the season calls yet. Months lie along the last axis, January first, on
either hemisphere; pools along the last axis too. All other axes broadcast, so that soils and samples run at once.
Carbon is in Mg C/ha, unless a name says otherwise.

`evapotranspiration` gives the water that a climate can take up, `rothc` and `tier2` the stock that an input of carbon
holds and the input that a stock needs, `inputs` the carbon that a farm's crops bring, `goal` the retention for a
stated goal and the odds that it holds, `opinion` what the models say beside the table.
"""
