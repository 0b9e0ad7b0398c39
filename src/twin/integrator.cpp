// SPDX-License-Identifier: Apache-2.0
#include "twin/integrator.h"

#include <cvode/cvode.h>
#include <fmt/format.h>
#include <nvector/nvector_serial.h>
#include <sundials/sundials_context.h>
#include <sundials/sundials_types.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <memory>
#include <span>
#include <stdexcept>
#include <string_view>
#include <type_traits>
#include <utility>

namespace windwright::twin {

namespace {

constexpr long most_steps = 4000;  // in one reach; tens are usual

void require(int flag, std::string_view call) {
  if (flag < 0) throw std::runtime_error(fmt::format("CVODE: {} failed with {}", call, flag));
}

struct FreeVector {
  void operator()(N_Vector vector) const { N_VDestroy(vector); }
};
struct FreeNonlinear {
  void operator()(SUNNonlinearSolver solver) const { SUNNonlinSolFree(solver); }
};
struct FreeContext {
  void operator()(SUNContext context) const { SUNContext_Free(&context); }
};
struct FreeCvode {
  void operator()(void* memory) const { CVodeFree(&memory); }
};
template <typename Handle, typename Free>
using Owned = std::unique_ptr<std::remove_pointer_t<Handle>, Free>;

SUNContext new_context() {
  SUNContext context = nullptr;
  require(SUNContext_Create(nullptr, &context), "SUNContext_Create");
  return context;
}

}  // namespace

struct Integrator::Solver {
  const void* model;
  Rates rates;
  Event event;
  std::size_t size;
  Owned<SUNContext, FreeContext> context{new_context()};
  Owned<N_Vector, FreeVector> y;
  Owned<SUNNonlinearSolver, FreeNonlinear> corrector;
  std::unique_ptr<void, FreeCvode> cvode;
  std::exception_ptr thrown = nullptr;  // by rates or event
  std::int64_t calls = 0;
};

namespace {

// An exception must not unwind through CVODE, which is C: it waits until CVODE has returned.
template <typename Solver, typename Call>
int without_throwing(Solver& solver, const Call& call) {
  try {
    call();
    return 0;
  } catch (...) {
    solver.thrown = std::current_exception();
    return -1;
  }
}

// CVODE hands back the solver; its type is private to Integrator, so these take it as a template.
template <typename Solver>
int call_rates(realtype t, N_Vector y, N_Vector rates, void* solver) {
  auto* self = static_cast<Solver*>(solver);
  ++self->calls;
  return without_throwing(*self, [&] {
    self->rates(self->model, t, N_VGetArrayPointer(y), N_VGetArrayPointer(rates));
  });
}

template <typename Solver>
int call_event(realtype t, N_Vector y, realtype* value, void* solver) {
  auto* self = static_cast<Solver*>(solver);
  return without_throwing(*self,
                          [&] { *value = self->event(self->model, t, N_VGetArrayPointer(y)); });
}

bool leads_nowhere(int flag) {
  return flag == CV_TOO_MUCH_WORK || flag == CV_ERR_FAILURE || flag == CV_CONV_FAILURE ||
         flag == CV_TOO_CLOSE || flag == CV_TOO_MUCH_ACC;
}

}  // namespace

Integrator::Integrator(const void* model, Rates rates, Event event,
                       std::span<const double> absolute_tolerances, double relative_tolerance)
    : solver_(new Solver{.model = model,
                         .rates = rates,
                         .event = event,
                         .size = absolute_tolerances.size(),
                         .y = nullptr,
                         .corrector = nullptr,
                         .cvode = nullptr}) {
  Solver& s = *solver_;
  const auto size = static_cast<sunindextype>(s.size);
  s.y.reset(N_VNew_Serial(size, s.context.get()));
  const Owned<N_Vector, FreeVector> tolerances(N_VNew_Serial(size, s.context.get()));
  if (!s.y || !tolerances) throw std::runtime_error("CVODE: no memory for vectors");
  std::copy(absolute_tolerances.begin(), absolute_tolerances.end(),
            N_VGetArrayPointer(tolerances.get()));
  N_VConst(0.0, s.y.get());
  s.cvode.reset(CVodeCreate(CV_ADAMS, s.context.get()));
  s.corrector.reset(SUNNonlinSol_FixedPoint(s.y.get(), 0, s.context.get()));
  if (!s.cvode || !s.corrector) throw std::runtime_error("CVODE: no memory for the solver");
  void* cvode = s.cvode.get();
  require(CVodeInit(cvode, call_rates<Solver>, 0.0, s.y.get()), "CVodeInit");
  require(CVodeSetErrFile(cvode, nullptr), "CVodeSetErrFile");
  require(CVodeSetUserData(cvode, &s), "CVodeSetUserData");
  require(CVodeSVtolerances(cvode, relative_tolerance, tolerances.get()), "CVodeSVtolerances");
  require(CVodeSetNonlinearSolver(cvode, s.corrector.get()), "CVodeSetNonlinearSolver");
  require(CVodeSetMaxNumSteps(cvode, most_steps), "CVodeSetMaxNumSteps");
  require(CVodeRootInit(cvode, 1, call_event<Solver>), "CVodeRootInit");
  require(CVodeSetNoInactiveRootWarn(cvode), "CVodeSetNoInactiveRootWarn");
}

Integrator::~Integrator() = default;

void Integrator::begin(double from, double until, Crossing crossing, std::span<const double> y) {
  void* cvode = solver_->cvode.get();
  std::copy(y.begin(), y.end(), N_VGetArrayPointer(solver_->y.get()));
  int direction = crossing == Crossing::rising ? 1 : -1;
  require(CVodeReInit(cvode, from, solver_->y.get()), "CVodeReInit");
  require(CVodeSetRootDirection(cvode, &direction), "CVodeSetRootDirection");
  require(CVodeSetStopTime(cvode, until), "CVodeSetStopTime");
}

Integrator::Ending Integrator::reach(double to, std::span<double> y) {
  const double* values = N_VGetArrayPointer(solver_->y.get());
  double t = 0.0;
  const int flag = CVode(solver_->cvode.get(), to, solver_->y.get(), &t, CV_NORMAL);
  if (solver_->thrown) std::rethrow_exception(std::exchange(solver_->thrown, nullptr));
  const bool stuck = leads_nowhere(flag);
  if (!stuck) require(flag, "CVode");
  std::copy(values, values + y.size(), y.begin());
  return {.t = t, .event = flag == CV_ROOT_RETURN, .stuck = stuck};
}

std::int64_t Integrator::calls() const {
  return solver_->calls;
}

}  // namespace windwright::twin
