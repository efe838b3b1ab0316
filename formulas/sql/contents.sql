-- Net contents: the walls of containers, water fills, rules and weighed units, and that the fill
-- of a product has room in its container.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker')
  from unnest(array['formulas_container', 'formulas_waterfilling', 'formulas_netcontents',
                    'formulas_unitweighing']) t;

select walls.link(t, col, target, within)
  from (values
    ('formulas_container', 'material_id', 'ledger_material', 'coop'),
    ('formulas_waterfilling', 'container_id', 'formulas_container', 'maker'),
    ('formulas_netcontents', 'product_id', 'formulas_product', 'maker'),
    ('formulas_unitweighing', 'product_id', 'formulas_product', 'maker'),
    ('formulas_unitweighing', 'lot_id', 'ledger_lot', 'coop'),
    ('formulas_unitweighing', 'filling_id', 'formulas_filling', 'maker'),
    ('formulas_unitweighing', 'making_id', 'formulas_making', 'maker')) v(t, col, target, within);

select walls.append_only(t) from unnest(array['formulas_waterfilling', 'formulas_unitweighing']) t;
revoke delete, truncate on formulas_container, formulas_netcontents from stillroom;

-- The containers of a unit together have room for its fill, overfill included. A fill by mass needs
-- the density of the formula's version in force; without one nothing can be said.
create function formulas_check_room() returns trigger language plpgsql as $$
declare wanted numeric; room numeric;
begin
  select coalesce(p.fill_ml, p.fill_grams / v.density) * (1 + p.overfill_percent / 100)
    into wanted
    from formulas_product p
    join formulas_formula f on f.coop_id = p.coop_id and f.id = p.formula_id
    left join formulas_formulaversion v
      on v.coop_id = f.coop_id and v.formula_id = f.id and v.number = f.version
    where p.coop_id = new.coop_id and p.id = new.product_id;
  select sum(k.quantity * c.usable_ml) into room
    from formulas_packaging k
    join formulas_container c on c.coop_id = k.coop_id and c.maker_id = k.maker_id
      and c.material_id = k.material_id
    where k.coop_id = new.coop_id and k.product_id = new.product_id;
  if room < wanted then
    raise exception 'The container holds % mL, and the fill is % mL.', room, wanted
      using errcode = '23514', constraint = 'product_has_room',
        detail = json_build_object('room', trim_scale(room), 'wanted', trim_scale(wanted));
  end if;
  return null;
end $$;
create trigger check_room after insert on formulas_packaging
  for each row execute function formulas_check_room();
