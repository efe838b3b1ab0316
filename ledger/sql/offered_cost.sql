-- What an open offer at cost comes to at present, to its giver and to whoever may accept it: what
-- the giver's books would take from its cost layers for so much, as its cost formula has them, and
-- the percent above that. The same is posted at the answer; until then each draw and each receipt
-- of the giver may change it. Null of any other offer, and where less than that of the lot is free
-- to give, or left in the layers.
create or replace function ledger_offered_cost(transfer uuid) returns numeric
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select sum(ledger_part(y.value, least(y.quantity, t.quantity - y.before), y.quantity))
         * (1 + coalesce(max(t.percent), 0) * 0.01)
    from ledger_transfer t
    join ledger_pool p on p.coop_id = t.coop_id and p.maker_id = t.maker_id
      and p.material_id = t.material_id
    cross join lateral (
      select l.quantity, l.value,
             sum(l.quantity) over (order by l.ordinal) - l.quantity as before
        from ledger_layer l
        where l.coop_id = t.coop_id and l.maker_id = t.maker_id and l.material_id = t.material_id
          and l.any_left and (p.cost_formula <> 'lot' or l.lot_id = t.lot_id)) y
    where t.coop_id = nullif(current_setting('app.coop', true), '')::uuid
      and nullif(current_setting('app.maker', true), '')::uuid in (t.maker_id, t.to_maker_id)
      and t.id = transfer and t.state = 'open' and t.price is null and not t.in_kind
      and t.answers_id is null and y.before < t.quantity
      and ledger_free_to_give(t.maker_id, t.lot_id) >= t.quantity
    having sum(least(y.quantity, t.quantity - y.before)) = max(t.quantity)
$$;
select walls.define('ledger_offered_cost(uuid)');
