-- The least that posts an entry into the server's own tables: same rows, keys, constraints,
-- trigger, walls and locks as the real one, and it refuses the same: another's account or lot, what
-- is not there, not released, out of date or reserved, the future, a closed period, a back-dated
-- overdraw. Its balances are right for whatever it accepts, a lot named twice and two lots of one
-- material included, and what is watched is owed a check. But all ids are given, goods only ever go
-- from one account into another, the cost formula is a moving average, and a refusal says nothing
-- of what to do.
create schema floor;
create function floor.post(entry uuid, at timestamptz, person int, source uuid, target uuid,
                           lots uuid[], layers uuid[], quantities numeric[]) returns numeric[]
language plpgsql security definer set search_path = pg_catalog, public, pg_temp
set plan_cache_mode = force_generic_plan set enable_seqscan = off set enable_hashjoin = off
set enable_mergejoin = off as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  day date;
  closed_on date;
  worth numeric[];
  back_dated boolean;
begin
  if (select count(*) from ledger_account
        where coop_id = coop and maker_id = maker and id in (source, target)) < 2 then
    raise exception 'not there' using errcode = '23514';
  end if;
  perform pg_advisory_xact_lock_shared(hashtextextended('books of ' || maker, 0));
  select (at at time zone c.time_zone)::date, (
           select max(x.closed_on) from ledger_closing x
             where x.coop_id = coop and x.maker_id = maker) into day, closed_on
    from ledger_coop c join ledger_maker m on m.coop_id = c.id and m.id = maker where c.id = coop;
  if at > clock_timestamp() or day <= closed_on then
    raise exception 'not on that day' using errcode = '23514';
  end if;
  perform from ledger_layer where coop_id = coop and id = any (layers) order by id for update;
  if (select count(*) from unnest(lots) m(id)
        join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = m.id
        join ledger_lot l on l.coop_id = coop and l.id = m.id
        where c.status = 'released' and coalesce(least(l.expires_on, l.retest_on) >= day, true)
     ) < cardinality(lots)
     or exists (select from ledger_reservation
                  where coop_id = coop and lot_id = any (lots) and quantity > 0) then
    raise exception 'not to be used' using errcode = '23514';
  end if;
  insert into ledger_entry (coop_id, maker_id, id, kind, happened_at, happened_on, recorded_at,
                            person_id, reason, deviation, details)
  values (coop, maker, entry, 'draw', at, day, clock_timestamp(), person, '', '', '{}');
  select array_agg(round(l.value * m.quantity / l.quantity, 6) order by m.line) into worth
    from unnest(layers, quantities) with ordinality m(layer, quantity, line)
    join ledger_layer l on l.coop_id = coop and l.id = m.layer;
  update ledger_layer l set quantity = l.quantity - m.quantity, value = l.value - m.value
    from (select layer, sum(quantity), sum(value)
            from unnest(layers, quantities, worth) m(layer, quantity, value) group by layer
         ) m(layer, quantity, value)
    where l.coop_id = coop and l.id = m.layer;
  insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
  select coop, maker, entry, line, layer, -quantity, -value
    from unnest(layers, quantities, worth) with ordinality m(layer, quantity, value, line);
  with carried as (
    update ledger_holding h set quantity = h.quantity + m.quantity, value = h.value + m.value,
                                last_on = greatest(h.last_on, day)
      from (select account, lot, sum(quantity), sum(value)
              from (select source, lot, -quantity, -value from unnest(lots, quantities, worth)
                        as m(lot, quantity, value)
                    union all
                    select target, lot, quantity, value from unnest(lots, quantities, worth)
                        as m(lot, quantity, value)
                   ) m(account, lot, quantity, value)
              group by account, lot
           ) m(account, lot, quantity, value)
      where h.coop_id = coop and h.account_id = m.account and h.lot_id = m.lot
      returning h.last_on)
  select bool_or(last_on > day) into back_dated from carried;
  if back_dated then
    raise exception 'moved on a later day' using errcode = '23514';
  end if;
  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
                              value, happened_on)
  select coop, maker, entry, 2 * line - 1, source, lot, -quantity, -value, day
    from unnest(lots, quantities, worth) with ordinality
      m(lot, quantity, value, line)
  union all
  select coop, maker, entry, 2 * line, target, lot, quantity, value, day
    from unnest(lots, quantities, worth) with ordinality
      m(lot, quantity, value, line);
  insert into ledger_outbox (coop_id, maker_id, id, task, subject)
  select coop, maker, uuidv7(), 'check_watch', w.material_id
    from ledger_watch w join ledger_layer l on l.coop_id = coop and l.material_id = w.material_id
    where w.coop_id = coop and w.maker_id = maker and l.id = any (layers)
    on conflict do nothing;
  return worth;
end $$;
alter function floor.post(uuid, timestamptz, int, uuid, uuid, uuid[], uuid[], numeric[])
  owner to stillroom_ledger;
grant usage on schema floor to stillroom, stillroom_ledger;

-- The same event where nobody else is: no co-ops, no walls, nothing refused but what is not there,
-- small keys, one index for each question.
create schema bare;
create table bare.layer (
  id int primary key, quantity numeric(18, 6) not null check (quantity >= 0),
  value numeric(18, 6) not null check (value >= 0));
create table bare.holding (
  account int, lot int, quantity numeric(18, 6) not null check (quantity >= 0),
  value numeric(18, 6) not null, primary key (account, lot));
create table bare.entry (
  id bigint generated always as identity primary key, kind text not null,
  happened_at timestamptz not null, recorded_at timestamptz not null default clock_timestamp(),
  person int not null);
create table bare.posting (
  entry bigint references bare.entry, line smallint, account int not null, lot int not null,
  quantity numeric(18, 6) not null, value numeric(18, 6) not null, happened_on date not null,
  primary key (entry, line), foreign key (account, lot) references bare.holding);
create index on bare.posting (lot, account, happened_on);
create table bare.layerposting (
  entry bigint references bare.entry, line smallint, layer int references bare.layer,
  quantity numeric(18, 6) not null, value numeric(18, 6) not null,
  primary key (entry, line, layer));
create index on bare.layerposting (layer);
create function bare.check_postings() returns trigger language plpgsql as $$
begin
  if exists (select from added group by entry, lot having sum(quantity) <> 0)
     or exists (select from added group by entry having sum(value) <> 0) then
    raise exception 'The entry does not sum to zero.' using errcode = '23514';
  end if;
  return null;
end $$;
create trigger check_postings after insert on bare.posting
  referencing new table as added for each statement execute function bare.check_postings();
insert into bare.layer select n, 1e9, 5e9 from generate_series(1, 1000) n;
insert into bare.holding
select account, lot, 1e9, 5e9 from generate_series(1, 2) account, generate_series(1, 1000) lot;
create function bare.post(at timestamptz, person int, lots int[], quantities numeric[])
returns numeric[] language plpgsql
set plan_cache_mode = force_generic_plan set enable_seqscan = off set enable_hashjoin = off
set enable_mergejoin = off as $$
declare
  written bigint;
  day date := at::date;
  worth numeric[];
begin
  perform from bare.layer where id = any (lots) order by id for update;
  insert into bare.entry (kind, happened_at, person) values ('draw', at, person)
    returning id into written;
  select array_agg(round(l.value * m.quantity / l.quantity, 6) order by m.line) into worth
    from unnest(lots, quantities) with ordinality m(lot, quantity, line)
    join bare.layer l on l.id = m.lot;
  update bare.layer l set quantity = l.quantity - m.quantity, value = l.value - m.value
    from unnest(lots, quantities, worth)
                as m(lot, quantity, value) where l.id = m.lot;
  insert into bare.layerposting
  select written, line, lot, -quantity, -value
    from unnest(lots, quantities, worth) with ordinality
      m(lot, quantity, value, line);
  update bare.holding h set quantity = h.quantity + m.quantity, value = h.value + m.value
    from (select 1, lot, -quantity, -value from unnest(lots, quantities, worth)
                as m(lot, quantity, value)
          union all
          select 2, lot, quantity, value from unnest(lots, quantities, worth)
                as m(lot, quantity, value)
         ) m(account, lot, quantity, value)
    where h.account = m.account and h.lot = m.lot;
  insert into bare.posting
  select written, 2 * line - 1, 1, lot, -quantity, -value, day
    from unnest(lots, quantities, worth) with ordinality
      m(lot, quantity, value, line)
  union all
  select written, 2 * line, 2, lot, quantity, value, day
    from unnest(lots, quantities, worth) with ordinality
      m(lot, quantity, value, line);
  return worth;
end $$;
grant usage on schema bare to stillroom;
grant all on all tables in schema bare to stillroom;
