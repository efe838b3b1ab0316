-- A new standard counts until the next one begins. No batch that was finished in that time, and no
-- fill, may have had an earlier one: its variances would change after they were told. A fill is
-- judged by the standard of the version that its bulk was made by, and by that of its product.
create or replace function formulas_check_standard() returns trigger language plpgsql as $$
declare judged record;
begin
  select m.code, e.happened_on into judged
    from (
      select b.code, k.entry_id, b.version_id, b.product_id
        from formulas_batch b
        join formulas_making k on k.coop_id = b.coop_id and k.id = b.making_id
        where b.coop_id = new.coop_id and b.maker_id = new.maker_id
      union all
      select l.code, f.entry_id, b.version_id, f.product_id
        from formulas_filling f
        join ledger_lot l on l.coop_id = f.coop_id and l.id = f.lot_id
        join ledger_lot k on k.coop_id = f.coop_id and k.id = f.bulk_lot_id
        left join formulas_batch b on b.coop_id = f.coop_id and b.account_id = k.made_in_id
        where f.coop_id = new.coop_id and f.maker_id = new.maker_id
          and not exists (select from ledger_entry u
                            where u.coop_id = f.coop_id and u.reverses_id = f.entry_id)) m
    join ledger_entry e on e.coop_id = new.coop_id and e.id = m.entry_id
    where (m.version_id = new.version_id or m.product_id = new.product_id)
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
    raise exception '% was judged by an earlier standard.', judged.code
      using errcode = '23514', constraint = 'standard_cost_kept',
        detail = json_build_object('batch', judged.code, 'day', judged.happened_on);
  end if;
  return null;
end $$;
