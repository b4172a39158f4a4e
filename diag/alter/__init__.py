"""Alterations: a recipe and a vehicle to a work sheet and the vehicle's file as it is afterwards."""
