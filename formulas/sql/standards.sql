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

-- A new standard counts until the next one begins. No batch that was finished in that time may have
-- had an earlier one: its variances would change after they were told.
create function formulas_check_standard() returns trigger language plpgsql as $$
declare judged record;
begin
  select b.code, e.happened_on into judged
    from formulas_batch b
    join formulas_making k on k.coop_id = b.coop_id and k.id = b.making_id
    join ledger_entry e on e.coop_id = k.coop_id and e.id = k.entry_id
    where b.coop_id = new.coop_id and b.maker_id = new.maker_id
      and (b.version_id = new.version_id or b.product_id = new.product_id)
      and e.happened_on >= new.valid_from
      and not exists (
        select from formulas_standardcost s
          where s.coop_id = new.coop_id and s.valid_from > new.valid_from
            and (s.version_id = new.version_id or s.product_id = new.product_id)
            and s.valid_from <= e.happened_on)
      and exists (
        select from formulas_standardcost s
          where s.coop_id = new.coop_id and s.id <> new.id
            and (s.version_id = new.version_id or s.product_id = new.product_id)
            and s.valid_from <= e.happened_on)
    order by e.happened_on desc limit 1;
  if found then
    raise exception 'The batch % was judged by an earlier standard.', judged.code
      using errcode = '23514', constraint = 'standard_cost_kept',
        detail = json_build_object('batch', judged.code, 'day', judged.happened_on);
  end if;
  return null;
end $$;
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
