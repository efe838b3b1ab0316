-- Standard costs: their walls, and that a batch which was judged by one stays judged by it.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['formulas_standardcost', 'formulas_standardprice']) t;

select walls.link(t, col, target, within)
  from (values
    ('formulas_standardcost', 'version_id', 'formulas_formulaversion', 'maker'),
    ('formulas_standardcost', 'product_id', 'formulas_product', 'maker'),
    ('formulas_standardprice', 'standard_id', 'formulas_standardcost', 'maker'),
    ('formulas_standardprice', 'material_id', 'ledger_material', 'coop')) v(t, col, target, within);

-- A batch or a fill that was judged by a standard stays judged by it (standard_kept.sql).
create trigger check_standard after insert on formulas_standardcost
  for each row execute function formulas_check_standard();

-- The standard of a version has a price for each of its materials: their shares make 100 %.
create function formulas_check_standard_whole() returns trigger language plpgsql as $$
declare total numeric;
begin
  select coalesce(sum(p.share), 0) into total from formulas_standardprice p
    where p.coop_id = new.coop_id and p.standard_id = new.id;
  if new.version_id is not null and total <> 100 then
    raise exception 'The shares of a standard make % %%, not 100 %%.', total
      using errcode = '23514', constraint = 'standard_percent_100';
  end if;
  return null;
end $$;
create constraint trigger check_standard_whole after insert on formulas_standardcost
  deferrable initially deferred for each row execute function formulas_check_standard_whole();
