// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/modbus_table.h"
#include "devices/link.h"

namespace windwright::devices {

/// Connects to a Modbus instrument. A connection counts as made when a whole sample has come; what
/// cannot be a count, an answer to another question or one that is not whole is a lost link. The
/// heartbeat is written after every sample; 1 to the reset register on the first connection only,
/// so that an instrument that stopped by itself stays so until somebody opens the bench again.
/// @param described  outlives the connection, and so does the bench
/// Sources: MODBUS Application Protocol V1.1b3; MODBUS Messaging on TCP/IP V1.0b; MODBUS over
/// Serial Line V1.02.
Connect modbus_connector(const bench::Bench& bench, const bench::ModbusTcpDevice& described);
Connect modbus_connector(const bench::Bench& bench, const bench::ModbusRtuDevice& described);
/// The same for the guard process: reads no samples and resets nothing; `feed` writes 1, 2, 3, ...
/// to the guard's heartbeat register, where there is one, else it reads the first channel, once a
/// second.
Connect modbus_guard_connector(const bench::Bench& bench, const bench::ModbusTcpDevice& described);

}  // namespace windwright::devices
