package peer.server;

import ca.uhn.fhir.batch2.jobs.export.BulkDataExportProvider;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.provider.JpaCapabilityStatementProvider;
import ca.uhn.fhir.jpa.provider.JpaSystemProvider;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.rest.api.EncodingEnum;
import ca.uhn.fhir.rest.api.PreferHandlingEnum;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.interceptor.RequestValidatingInterceptor;
import ca.uhn.fhir.rest.server.interceptor.SearchPreferHandlingInterceptor;
import ca.uhn.fhir.rest.server.provider.ResourceProviderFactory;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import ca.uhn.fhir.validation.IInstanceValidatorModule;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import org.springframework.context.ApplicationContext;

/** The HTTP side: HAPI's servlet, filled with what the store provides. */
public final class Front extends RestfulServer {
    private static final long serialVersionUID = 1L;

    private final transient ApplicationContext beans;
    private final transient Options options;

    Front(ApplicationContext beans, Options options) {
        super(beans.getBean(FhirContext.class));
        this.beans = beans;
        this.options = options;
    }

    @Override
    protected void initialize() {
        ISearchParamRegistry parameters =
            beans.getBean(ISearchParamRegistry.class);
        registerProviders(beans.getBean("myResourceProvidersR4",
            ResourceProviderFactory.class).createProviders());
        registerProvider(beans.getBean(JpaSystemProvider.class));
        registerProvider(beans.getBean(BulkDataExportProvider.class));
        setPagingProvider(beans.getBean(DatabaseBackedPagingProvider.class));
        setDefaultResponseEncoding(EncodingEnum.JSON);
        setServerConformanceProvider(new JpaCapabilityStatementProvider(this,
            beans.getBean(IFhirSystemDao.class),
            beans.getBean(JpaStorageSettings.class), parameters,
            beans.getBean("myJpaValidationSupportChain",
                IValidationSupport.class)));
        SearchPreferHandlingInterceptor prefer =
            new SearchPreferHandlingInterceptor(parameters);
        prefer.setDefaultBehaviour(options.lenient()
            ? PreferHandlingEnum.LENIENT : PreferHandlingEnum.STRICT);
        registerInterceptor(prefer);
        if (options.validate()) {
            registerInterceptor(validation());
        }
    }

    /** Refuses with 422 what the instance validator calls an error. */
    private RequestValidatingInterceptor validation() {
        RequestValidatingInterceptor gate = new RequestValidatingInterceptor();
        gate.addValidatorModule(beans.getBean(IInstanceValidatorModule.class));
        gate.setFailOnSeverity(ResultSeverityEnum.ERROR);
        return gate;
    }
}
