-- Undoing: a new entry that names the one it undoes, and why.
--
-- Takes back exactly the postings that the entry made, at their value.
create or replace function ledger_reverse_entry(
  entry uuid, original uuid, happened_at timestamptz, person int, reason text) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  day date;
  way json;
begin
  if exists (select from ledger_entry e where e.coop_id = coop and e.id = original
               and e.kind in ('payment', 'clearing')) then
    raise exception 'What stands in several books is not reversed in one.'
      using errcode = '23514', constraint = 'transfer_not_reversed';
  end if;
  if exists (select from ledger_entry e where e.coop_id = coop and e.id = original
               and e.kind in ('deposit', 'deposit_return')) then
    raise exception 'A deposit comes back, or is paid anew.'
      using errcode = '23514', constraint = 'deposit_not_reversed';
  end if;
  perform ledger_lock_pools(array(
    select distinct c.material_id from ledger_posting p
      join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = p.lot_id
      where p.coop_id = coop and p.maker_id = maker and p.entry_id = original));
  if happened_at < (select e.happened_at from ledger_entry e where e.coop_id = coop
    and e.id = original) then
    raise exception 'An entry is not undone before it happened.'
      using errcode = '23514', constraint = 'reversal_after_its_entry';
  end if;
  day := ledger_open_entry(entry, 'reversal', happened_at, person, reason, '', '{}', original);

  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
    value, happened_on)
  select coop, maker, entry, p.line, p.account_id, p.lot_id, -p.quantity, -p.value, day
    from ledger_posting p where p.coop_id = coop and p.maker_id = maker and p.entry_id = original;

  perform ledger_open_layers(array(
    select row(p.line, null, null, p.account_id, 'store', p.lot_id, h.material_id, -p.quantity,
      -p.value)::ledger_move
      from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and h.kind = 'store' and p.quantity > 0));
  -- Back to the layers they came from; where the cost formula has changed since, to today's.
  insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
  select coop, maker, entry, p.line, now_layer.id, -sum(p.quantity), -sum(p.value)
    from ledger_layerposting p
    join ledger_layer l on l.coop_id = coop and l.id = p.layer_id
    join ledger_pool o on o.coop_id = coop and o.maker_id = maker and o.material_id = l.material_id
    join ledger_posting q on q.coop_id = coop and q.entry_id = original
      and q.line = case when p.quantity < 0 then 2 * p.line - 1 else 2 * p.line end
    join ledger_layer now_layer on now_layer.coop_id = coop and now_layer.maker_id = maker
      and now_layer.material_id = l.material_id
      and now_layer.lot_id is not distinct from case o.cost_formula
        when 'average' then null when 'lot' then q.lot_id else coalesce(l.lot_id, q.lot_id) end
    where p.coop_id = coop and p.maker_id = maker and p.entry_id = original
    group by p.line, now_layer.id;

  -- Which entries stand in the way: what they took is missing from a holding or a layer, or it is
  -- a return of the very sale. What was itself undone since does not count, nor does its undoing.
  select json_build_object('entries', json_agg(s.entry_id order by s.entry_id),
                           'formula_changed', bool_or(e.kind = 'cost_formula'))
    into way from (
    select later.entry_id
      from (select p.account_id, p.lot_id, sum(p.quantity) as quantity, sum(p.value) as value
              from ledger_posting p where p.coop_id = coop and p.entry_id = entry group by 1, 2) p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
        and (h.kind in ('store', 'batch', 'consignment') and h.quantity + p.quantity < 0
             or h.kind in ('batch', 'consignment') and (h.value + p.value < 0
                                      or h.quantity + p.quantity = 0 and h.value + p.value <> 0))
      join ledger_posting later on later.coop_id = coop and later.account_id = p.account_id
        and later.lot_id = p.lot_id and later.quantity < 0 and later.entry_id > original
    union
    select later.entry_id
      from (select p.layer_id, sum(p.quantity) as quantity, sum(p.value) as value
        from ledger_layerposting p
              where p.coop_id = coop and p.entry_id = entry group by 1) p
      join ledger_layer l on l.coop_id = coop and l.id = p.layer_id
        and (l.quantity + p.quantity < 0 or l.value + p.value < 0
             or l.quantity + p.quantity = 0 and l.value + p.value <> 0)
      join ledger_layerposting later on later.coop_id = coop and later.layer_id = p.layer_id
        and later.entry_id > original
      join ledger_entry x on x.coop_id = coop and x.id = later.entry_id
        and (later.quantity < 0 or x.kind = 'cost_formula')
    union
    select later.entry_id
      from ledger_posting p
      join ledger_posting later on later.coop_id = coop and later.account_id = p.account_id
        and later.lot_id = p.lot_id and later.quantity < 0 and later.entry_id > original
      join ledger_entry r on r.coop_id = coop and r.id = later.entry_id
        and r.kind = 'customer_return' and r.details ->> 'sale' = original::text
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0
  ) s
    join ledger_entry e on e.coop_id = coop and e.id = s.entry_id
    where s.entry_id <> entry and coalesce(e.reverses_id <= original, true)
      and not exists (select from ledger_entry r where r.coop_id = coop
        and r.reverses_id = s.entry_id)
    having count(*) > 0;
  if way is not null then
    raise exception 'What the entry moved has been used since.' using errcode = '23514',
      constraint = 'entry_not_used_since', detail = way;
  end if;

  merge into ledger_holding h
  using (select p.account_id, p.lot_id, sum(p.quantity) as quantity, sum(p.value) as value
           from ledger_posting p where p.coop_id = coop and p.entry_id = entry
             and p.lot_id is not null
           group by 1, 2) d
    on h.coop_id = coop and h.account_id = d.account_id and h.lot_id = d.lot_id
  when matched then update set quantity = h.quantity + d.quantity, value = h.value + d.value,
                               last_on = greatest(h.last_on, day);
  perform ledger_carry(entry);
  perform ledger_check_days(entry, day);
  perform ledger_keep_promises(entry, array(
    select row((p.line + 1) / 2, p.account_id, h.kind, null, null, p.lot_id, h.material_id,
      -p.quantity, -p.value)::ledger_move
      from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0), 'reversal');
end $$;

select walls.define('ledger_reverse_entry(uuid, uuid, timestamptz, int, text)');
