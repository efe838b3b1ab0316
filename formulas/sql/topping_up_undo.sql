drop view formulas_wanted;
-- The walls fall with the tables that they stand on.
alter table formulas_pick drop constraint formulas_pick_picking_id_fk;
